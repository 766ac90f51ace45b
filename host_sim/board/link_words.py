"""What the requests and errors of the link mean, for its reference page."""

from app.link_handlers import FACTS_PAGE
from app.run_log_page import PAGE

# request: what it does, and what its arguments mean
REQUESTS: dict[str, tuple[str, dict[str, str]]] = {
    "hello": ("versions, board, cause of the last reset, names of the telemetry numbers", {}),
    "status": ("state, missing permits, faults, rates, counters of the link", {}),
    "faults.get": ("faults, the last failure, notes of the start and problems of the store", {}),
    "display.get": ("the four rows that the display shows", {}),
    "display.units": ("units of the display alone, until the setting changes or a reset", {
        "us": "0 metric, 1 US customary",
    }),
    "telemetry.set": ("start or stop telemetry", {
        "every_ticks": "0 for none, 2 for 10 records a second",
    }),
    "rate.set": ("change the rate", {
        "rate_ml_ha": "up to the highest rate; while armed up to a quarter above the machine's own",
    }),
    "regulation.set": ("choose how flow is regulated; the duty itself is set at the machine", {
        "regulation": "closed_loop or fixed_duty",
    }),
    "settings.get": ("settings by name", {
        "names": "all where left out",
    }),
    "settings.set": ("change settings, all or none; then the master switch must be seen off", {
        "values": "numbers or lists by name",
    }),
    "settings.aside": (
        "settings that were put aside, since this firmware cannot use them", {}),
    "settings.undo": ("back to the settings before the last change", {}),
    "procedure.begin": (
        "begin it; one that drives is only prepared and waits for a push at the machine", {
        "procedure": "its name",
        "parameters": "numbers by name; defaults where left out",
    }),
    "procedure.get": ("what it is, does, accepts and proposes", {}),
    "procedure.facts": (f"what it measured, {FACTS_PAGE} facts from one on", {
        "from": "0 where left out",
    }),
    "procedure.act": ("mark, enter, take_back or complete; not for one that drives", {
        "action": "one of those it accepts",
        "value": "for enter",
    }),
    "procedure.stop": ("stop it without a result", {}),
    "procedure.keep": ("take the settings it proposes", {}),
    "totals.get": ("totals of the job and of each section", {}),
    "totals.clear": ("begin a new job", {}),
    "log.read": (f"up to {PAGE} runs of the run log", {
        "from": "number of the first run wanted",
    }),
}

# word of an error record
ERRORS = {
    "too_long": "a line longer than a record can be",
    "checksum": "checksum wrong or missing",
    "version": "another version of the link",
    "malformed": "checksum right, but no record or no JSON object in it",
    "unknown": "no such request",
    "arguments": "arguments missing, unknown or of the wrong kind; problems lists all",
    "state": "not in this operating state",
    "refused": "understood, but refused; problems says why",
    "internal": "the request failed inside: report it",
}
