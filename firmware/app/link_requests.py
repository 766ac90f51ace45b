"""Everything that can be asked over the link, in one table.

A row is (name, states, arguments, handler, meaning). states is a mask of the operating states
in which it is answered. An argument is (name, kind, needed, meaning). Nothing here arms, starts
or bypasses a permit.
"""

from app import link_handlers as handlers
from app.run_log import PAGE
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY, STATE_NAMES
from rate_control.intmath import LIMIT

AT_REST = 1 << PARKED | 1 << READY | 1 << FAULT
ALWAYS = AT_REST | 1 << APPLYING | 1 << BENCH

NAME, STATES, ARGUMENTS, HANDLER, MEANING = range(5)
A_NAME, A_KIND, A_NEEDED, A_MEANING = range(4)

TABLE = (
    ("hello", ALWAYS, (), handlers.hello,
     "versions, board, cause of the last reset, names of the telemetry numbers"),
    ("status", ALWAYS, (), handlers.status,
     "state, missing permits, faults, rates, counters of the link"),
    ("faults.get", ALWAYS, (), handlers.get_faults,
     "faults, the last failure and problems of the store, in words"),
    ("display.get", ALWAYS, (), handlers.get_display,
     "the four rows that the display shows"),
    ("telemetry.set", ALWAYS, (
        ("every_ticks", "count", 1, "0 for none, 2 for 10 records a second"),
    ), handlers.set_telemetry,
     "start or stop telemetry"),
    ("rate.set", ALWAYS, (
        ("rate_ml_ha", "count", 1, "within the range of the setting"),
    ), handlers.set_rate,
     "change the rate for this job"),
    ("regulation.set", AT_REST, (
        ("regulation", "text", 1, "closed_loop or fixed_duty"),
    ), handlers.set_regulation,
     "choose how flow is regulated; the duty itself is set at the machine"),
    ("settings.get", ALWAYS, (
        ("names", "texts", 0, "all where left out"),
    ), handlers.get_settings,
     "settings by name"),
    ("settings.set", AT_REST, (
        ("values", "object", 1, "numbers or lists by name"),
    ), handlers.set_settings,
     "change settings, all or none; then the master switch must be seen off"),
    ("settings.undo", AT_REST, (), handlers.undo_settings,
     "back to the settings before the last change"),
    ("procedure.begin", ALWAYS, (
        ("procedure", "text", 1, "its name"),
        ("parameters", "object", 0, "numbers by name; defaults where left out"),
    ), handlers.begin_procedure,
     "begin it; one that drives is only prepared and waits for a push at the machine"),
    ("procedure.get", ALWAYS, (), handlers.get_procedure,
     "what it is, does, accepts and proposes"),
    ("procedure.facts", ALWAYS, (
        ("from", "count", 0, "0 where left out"),
    ), handlers.get_facts,
     "what it measured, %d facts from one on" % handlers.FACTS_PAGE),
    ("procedure.act", ALWAYS, (
        ("action", "text", 1, "one of those it accepts"),
        ("value", "count", 0, "for enter"),
    ), handlers.act,
     "mark, enter, take_back or complete; not for one that drives"),
    ("procedure.stop", ALWAYS, (), handlers.stop_procedure,
     "stop it without a result"),
    ("procedure.keep", AT_REST, (), handlers.keep_proposal,
     "take the settings it proposes"),
    ("totals.get", ALWAYS, (), handlers.get_totals,
     "totals of the job and of each section"),
    ("totals.clear", AT_REST, (), handlers.clear_totals,
     "begin a new job"),
    ("log.read", ALWAYS, (
        ("from", "count", 0, "number of the first run wanted"),
    ), handlers.read_log,
     "up to %d runs of the run log" % PAGE),
)
ROWS = {row[NAME]: row for row in TABLE}

PROBLEMS = 8  # of a list that is longer, so many are told
PROBLEM_LENGTH = 120


def is_count(value):
    """Return whether a value is a whole number, 0 to LIMIT."""
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= LIMIT


def is_text(value):
    """Return whether a value is a text."""
    return isinstance(value, str)


def is_texts(value):
    """Return whether a value is a list of texts."""
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def is_object(value):
    """Return whether a value is a JSON object."""
    return isinstance(value, dict)


# kind of an argument: what is right, what to say otherwise
KINDS = {
    "count": (is_count, "must be a whole number, 0 to %d" % LIMIT),
    "text": (is_text, "must be a text"),
    "texts": (is_texts, "must be a list of texts"),
    "object": (is_object, "must be an object"),
}

# word of an error record, what it means
ERRORS = (
    ("too_long", "a line longer than a record can be"),
    ("checksum", "checksum wrong or missing"),
    ("version", "another version of the link"),
    ("malformed", "checksum right, but no record or no JSON object in it"),
    ("unknown", "no such request"),
    ("arguments", "arguments missing, unknown or of the wrong kind; problems lists all"),
    ("state", "not in this operating state"),
    ("refused", "understood, but refused; problems says why"),
    ("internal", "the request failed inside: report it"),
)


def answer(link, request):
    """Return the body, a dict, that answers a request, a dict with the name under "do"."""
    name = request["do"]
    entry = ROWS.get(name) if isinstance(name, str) else None
    if entry is None:
        return error("unknown", ["%s: no such request" % str(name)[:40]])
    arguments = {given: request[given] for given in request if given != "do"}
    problems = argument_problems(entry[ARGUMENTS], arguments)
    if problems:
        return error("arguments", problems)
    state = link.application.controller.interlock.state
    if not entry[STATES] >> state & 1:
        return error("state", ["%s: not while %s" % (name, STATE_NAMES[state])])
    result = entry[HANDLER](link, arguments)
    if isinstance(result, dict):
        result["answer"] = name
        return result
    if result:
        return error("refused", [result] if isinstance(result, str) else result)
    return {"answer": name}


def argument_problems(wanted, given):
    """Return everything that is wrong with the arguments of a request, a list."""
    names = [argument[A_NAME] for argument in wanted]
    problems = ["%s: no such argument" % name for name in given if name not in names]
    for name, kind, needed, _ in wanted:
        if name not in given:
            if needed:
                problems.append("%s: is missing" % name)
            continue
        is_right, fault = KINDS[kind]
        if not is_right(given[name]):
            problems.append("%s: %s" % (name, fault))
    return problems


def error(word, problems):
    """Return the body of an error record."""
    told = [problem[:PROBLEM_LENGTH] for problem in problems[:PROBLEMS]]
    if len(problems) > PROBLEMS:
        told.append("and %d more" % (len(problems) - PROBLEMS))
    return {"error": word, "problems": told}
