"""Everything that can be asked over the link, in one table.

A row is (name, states, arguments, handler). states is a mask of the operating states in which it
is answered. An argument is (name, kind, needed). Nothing here arms, starts or bypasses a permit.
"""

from app import link_handlers as handlers
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, PRIMING, READY, STATE_NAMES
from rate_control.intmath import LIMIT
from rate_control.ranges import out_of_range

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.link import Link

AT_REST = 1 << PARKED | 1 << READY | 1 << FAULT
ALWAYS = AT_REST | 1 << APPLYING | 1 << BENCH | 1 << PRIMING

NAME, STATES, ARGUMENTS, HANDLER = range(4)
A_NAME, A_KIND, A_NEEDED = range(3)

TABLE: tuple[tuple, ...] = (
    ("hello", ALWAYS, (), handlers.hello),
    ("status", ALWAYS, (), handlers.status),
    ("faults.get", ALWAYS, (), handlers.get_faults),
    ("display.get", ALWAYS, (), handlers.get_display),
    ("display.units", ALWAYS, (
        ("us", "count", 1),
    ), handlers.set_display_units),
    ("telemetry.set", ALWAYS, (
        ("every_ticks", "count", 1),
    ), handlers.set_telemetry),
    ("rate.set", ALWAYS, (
        ("rate_ml_ha", "count", 1),
    ), handlers.set_rate),
    ("regulation.set", AT_REST, (
        ("regulation", "text", 1),
    ), handlers.set_regulation),
    ("settings.get", ALWAYS, (
        ("names", "texts", 0),
    ), handlers.get_settings),
    ("settings.set", AT_REST, (
        ("values", "object", 1),
    ), handlers.set_settings),
    ("settings.aside", ALWAYS, (), handlers.get_aside),
    ("settings.undo", AT_REST, (), handlers.undo_settings),
    ("procedure.begin", ALWAYS, (
        ("procedure", "text", 1),
        ("parameters", "object", 0),
    ), handlers.begin_procedure),
    ("procedure.get", ALWAYS, (), handlers.get_procedure),
    ("procedure.facts", ALWAYS, (
        ("from", "count", 0),
    ), handlers.get_facts),
    ("procedure.act", ALWAYS, (
        ("action", "text", 1),
        ("value", "count", 0),
    ), handlers.act),
    ("procedure.stop", ALWAYS, (), handlers.stop_procedure),
    ("procedure.keep", AT_REST, (), handlers.keep_proposal),
    ("totals.get", ALWAYS, (), handlers.get_totals),
    ("totals.clear", AT_REST, (), handlers.clear_totals),
    ("log.read", ALWAYS, (
        ("from", "count", 0),
    ), handlers.read_log),
)
ROWS = {row[NAME]: row for row in TABLE}



def is_count(value: object) -> bool:
    """Return whether a value is a whole number, 0 to LIMIT."""
    return not out_of_range(value, 0, LIMIT)


def is_text(value: object) -> bool:
    """Return whether a value is a text."""
    return isinstance(value, str)


def is_texts(value: object) -> bool:
    """Return whether a value is a list of texts."""
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def is_object(value: object) -> bool:
    """Return whether a value is a JSON object."""
    return isinstance(value, dict)


# kind of an argument: what is right, what to say otherwise
KINDS = {
    "count": (is_count, "must be a whole number, 0 to %d" % LIMIT),
    "text": (is_text, "must be a text"),
    "texts": (is_texts, "must be a list of texts"),
    "object": (is_object, "must be an object"),
}


def answer(link: "Link", request: dict) -> dict:
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


def argument_problems(wanted: tuple, given: dict) -> list[str]:
    """Return everything that is wrong with the arguments of a request, a list."""
    names = [argument[A_NAME] for argument in wanted]
    problems = ["%s: no such argument" % name for name in given if name not in names]
    for name, kind, needed in wanted:
        if name not in given:
            if needed:
                problems.append("%s: is missing" % name)
            continue
        is_right, fault = KINDS[kind]
        if not is_right(given[name]):
            problems.append("%s: %s" % (name, fault))
    return problems


def error(word: str, problems: list[str]) -> dict:
    """Return the body of an error record."""
    return {"error": word, "problems": handlers.shortened(problems)}
