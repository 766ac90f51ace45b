"""What the requests of the link do; the table that names them is in link_requests.py.

A handler gets the link and the checked arguments. It returns a dict to answer with, or what an
operation of the application returns: nothing where it is done, else a problem or a list of
problems. Operations are called without the confirmation that only the operator interface, at
the machine, can give.
"""

from app import telemetry
from app.grid import COLUMNS
from app.operations import AT_MACHINE
from app.version import VERSION
from rate_control import faults
from rate_control.interlock import STATE_NAMES
from rate_control.procedures import STATE_NAMES as PROCEDURE_STATES
from rate_control.records import Request
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.link import Link

REGULATIONS = {"closed_loop": Request.CLOSED_LOOP, "fixed_duty": Request.FIXED_DUTY}
SETTINGS_STATES = ("taken on", "not set up", "lost")  # by Request.settings_state
FACTS_PAGE = 12
TEXT_LENGTH = 200
LINES = 8  # of a list of texts that is longer, so many are told
LINE_LENGTH = 120


def hello(link: "Link", _: dict) -> dict:
    """Say who answers, and what the numbers of telemetry mean."""
    board = link.application.board
    return {
        "firmware": VERSION,
        "board": type(board).__name__,
        "reset": board.reset_cause(),
        "tick_ms": TICK_MS,
        "telemetry": list(telemetry.NAMES + link.application.ring.more),
    }


def status(link: "Link", _: dict) -> dict:
    """Say what the controller is doing, in words where there are words."""
    application = link.application
    snapshot = link.snapshot
    snapshot.fill(application.controller, application.ring)
    asked = application.asked
    return {
        "state": STATE_NAMES[application.controller.interlock.state],
        "missing": application.missing(),
        "settings": SETTINGS_STATES[application.controller.request.settings_state],
        "faults": faults.names(snapshot.faults),
        "rate_ml_ha": snapshot.rate_ml_ha,
        "rate_to_check": application.rate_to_check,
        "applied_ml_ha": snapshot.applied_ml_ha,
        "speed_mm_s": snapshot.speed_mm_s,
        "flow_ul_s": snapshot.flow_ul_s,
        "duty_u16": snapshot.duty_u16,
        "section_mask": snapshot.section_mask,
        "regulation": _regulation_name(snapshot.regulation),
        "bench_speed_mm_s": snapshot.bench_speed_mm_s,
        "asked": asked[0] if asked else None,
        "dropped": link.telemetry.dropped,
        "lost": link.telemetry.lost,
        "refused": link.refused,
    }


def _regulation_name(regulation: int) -> str | None:
    for name in REGULATIONS:
        if REGULATIONS[name] == regulation:
            return name
    return None


def get_faults(link: "Link", _: dict) -> dict:
    """List what is wrong now, in words."""
    application = link.application
    active = application.controller.decided.faults
    store = application.store
    return {
        "faults": [{"name": row[1], "blocking": row[2], "words": row[4]}
                   for row in faults.TABLE if row[0] & active],
        "failure": application.failure[:TEXT_LENGTH],
        "notes": shortened(application.notes),
        "store": dict(store.problems) if store else {},
    }


def shortened(texts: list[str]) -> list[str]:
    """Return a list of texts as it fits into a record."""
    told = [text[:LINE_LENGTH] for text in texts[:LINES]]
    if len(texts) > LINES:
        told.append("and %d more" % (len(texts) - LINES))
    return told


def get_display(link: "Link", _: dict) -> dict | str:
    """Give what the display shows, row by row; bars are the codes of grid.py."""
    grid = link.grid
    if grid is None:
        return "no display"
    cells = bytes(grid.cells)
    return {"rows": [cells[start : start + COLUMNS].decode()
                     for start in range(0, len(cells), COLUMNS)]}


def get_settings(link: "Link", arguments: dict) -> dict | list[str]:
    """Give the settings, all or some."""
    values = link.application.controller.settings.as_dict()
    wanted = arguments.get("names")
    if wanted is None:
        return {"values": values}
    unknown = [name for name in wanted if name not in values]
    if unknown:
        return ["%s: no such setting" % name for name in unknown]
    return {"values": {name: values[name] for name in wanted}}


def get_aside(link: "Link", _: dict) -> dict:
    """Give the settings that were put aside, because this firmware cannot use them."""
    store = link.application.store
    return {"values": store.load_aside() if store else {}}


def set_regulation(link: "Link", arguments: dict) -> str:
    """Choose the regulation by its name."""
    regulation = REGULATIONS.get(arguments["regulation"])
    return link.application.set_regulation(regulation)


def get_procedure(link: "Link", _: dict) -> dict:
    """Say what the procedure is, does and wants."""
    application = link.application
    asked = application.asked
    answer: dict = {"asked": asked[0] if asked else None, "procedure": None}
    procedure: "Any" = application.controller.procedure  # one that drives has more
    if procedure is not None:
        answer["procedure"] = procedure.NAME
        answer["state"] = PROCEDURE_STATES[procedure.state]
        answer["reason"] = procedure.reason
        answer["prompt"] = procedure.prompt()
        answer["accepts"] = procedure.accepts()
        answer["entry"] = procedure.entry()
        answer["needs_more"] = procedure.needs_more()
        answer["facts"] = len(procedure.facts())
        answer["proposal"] = procedure.proposal()
        if procedure.NEEDS_BENCH:
            answer["progress_permille"] = procedure.progress_permille()
    return answer


def get_facts(link: "Link", arguments: dict) -> dict:
    """Give a page of what the procedure has measured."""
    procedure = link.application.controller.procedure
    facts = procedure.facts() if procedure is not None else []
    start = arguments.get("from", 0)
    return {"facts": facts[start : start + FACTS_PAGE], "count": len(facts)}


def act(link: "Link", arguments: dict) -> str:
    """Do for the procedure what a person at the machine would; not for one that drives."""
    procedure = link.application.running_procedure()
    if procedure is not None and procedure.NEEDS_BENCH:
        return AT_MACHINE
    return link.application.act(arguments["action"], arguments.get("value"))


def get_totals(link: "Link", _: dict) -> dict:
    """Give the totals of the job and of each section."""
    totals = link.application.controller.totals
    return {
        "area_m2": totals.area.whole,
        "volume_ml": totals.volume.thousandths(),
        "distance_m": totals.distance.whole,
        "time_s": totals.time.whole,
        "bench_volume_ml": totals.bench_volume.thousandths(),
        "section_area_m2": [register.whole for register in totals.section_area],
        "section_volume_ml": [register.whole for register in totals.section_volume],
    }


def set_display_units(link: "Link", arguments: dict) -> str:
    """Choose the units of the display. It is no setting: nothing is locked, nothing is kept."""
    return link.application.show_units(arguments["us"])


def set_telemetry(link: "Link", arguments: dict) -> dict | str:
    """Choose how many ticks lie from record to record."""
    every = arguments["every_ticks"]
    if every > telemetry.EVERY_MAX:
        return "every_ticks: must be 0 to %d" % telemetry.EVERY_MAX
    link.telemetry.every = every
    return {"every_ticks": every}


def read_log(link: "Link", arguments: dict) -> dict | str:
    """Give a page of the run log."""
    if link.run_log is None:
        return "no run log is kept"
    from app.run_log_page import page
    return {"runs": page(link.run_log, arguments.get("from", 0))}


def set_rate(link: "Link", arguments: dict) -> str:
    """Change the rate."""
    return link.application.set_rate(arguments["rate_ml_ha"], remote=True)


def set_settings(link: "Link", arguments: dict) -> list[str]:
    """Change settings, all or none."""
    return link.application.change_settings(arguments["values"], remote=True)


def undo_settings(link: "Link", _: dict) -> str:
    """Go back to the settings before the last change."""
    return link.application.undo(remote=True)


def begin_procedure(link: "Link", arguments: dict) -> str:
    """Begin a procedure, or prepare one that drives."""
    return link.application.begin_procedure(
        arguments["procedure"], arguments.get("parameters", {}))


def stop_procedure(link: "Link", _: dict) -> str:
    """Stop the procedure."""
    return link.application.stop_procedure()


def keep_proposal(link: "Link", _: dict) -> list[str]:
    """Take what the procedure proposes."""
    return link.application.keep_proposal()


def clear_totals(link: "Link", _: dict) -> str:
    """Begin a new job."""
    return link.application.clear_totals()
