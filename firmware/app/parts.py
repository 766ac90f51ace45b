"""Parts of the application that settings ask for, each loaded where its setting does."""

import gc
import sys

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.application import Application
    from app.files import LogFiles

POSITION = "app.position"
PRESSURE_FILE = "pressure.bin"
PLAN_FILE = "plan"  # of app.plan_file, which is loaded with the trial alone
FILES = (PRESSURE_FILE, PLAN_FILE)
CARD = "card"  # that the board is wired for
ZONES_FILE = "zones.bin"
ZONES_SIZE = 4000  # of the program; the file is in memory by then
ZONES_READ = 16385  # bytes: one more than zones may have, so that a larger file is seen as such

# In the order of loading: what is built upon another one stands behind it, what takes all the
# room that there is comes last.
# name; what asks for it (a setting, one of FILES, or CARD), from which value on; module, bytes of
# heap as bytecode
PARTS = (
    ("position", "position_use", 1, POSITION, 11000),
    ("CAN", "can_use", 1, "app.can_receiver", 6000),
    ("learning", "curve_learning", 1, "app.curve_learning", 3600),
    ("pressure", PRESSURE_FILE, 1, "app.pressure_watch", 7600),
    ("card", CARD, 1, "app.card_trace", 11300),
    ("plan", PLAN_FILE, 1, "app.trial", 9000),
    ("coverage", "position_use", 2, "app.coverage", 12000),  # with a grid of its smallest size
)
KEPT_FREE = 60000  # bytes that screens and procedures need besides
MANY = 1 << 20
NO_ROOM = "%s: not enough memory: a frozen firmware or an RP2350 has it"


def fit(application: "Application", files: "LogFiles | None" = None) -> None:
    """Load what is wanted and has room; what has none is told in the notes of the start.

    Zones are wanted where files hold some.
    """
    for name, what, from_value, module, size in PARTS:
        given = application.board.card_port() if what == CARD else files
        if _asked(application, what, given) < from_value:
            continue
        if not has_room(size):
            application.notes.append(NO_ROOM % name)
            continue
        __import__(module)
        sys.modules[module].fit(application, given)
        if module == POSITION and files is not None:
            fit_zones(application, files.read(ZONES_FILE, 0, ZONES_READ))


def _asked(application: "Application", what: str, given: "Any") -> int:
    """Return the value of a setting, or 1 where the file or the card's port is there.

    A curve that was learned asks for its part with learning off, too: where it gives more by
    itself, the trim may give less.
    given is what the part is built upon: the port of the card, or the files; None where none is.
    """
    if what == CARD:
        return given is not None
    if what in FILES:
        return len(given.read(what, 0, 1)) if given is not None else 0
    asked = getattr(application.controller.settings, what)
    if what == "curve_learning" and not asked and given is not None:
        return len(given.read("curve.0", 0, 1))  # the slot that app.curve_learning writes first
    return asked


def fit_zones(application: "Application", data: bytes) -> None:
    """Load the zones of a file, b"" where there is none."""
    if not data:
        return
    if not has_room(ZONES_SIZE):
        application.notes.append(NO_ROOM % "zones")
        return
    from app.zones import fit
    fit(application, data)


def has_room(size: int) -> bool:
    """Return whether the heap holds so much more."""
    return room() >= size


def room() -> int:
    """Return how many bytes of heap are to spare; where memory does not matter, many."""
    gc.collect()
    free = gc.mem_free() if hasattr(gc, "mem_free") else None
    return MANY if free is None else free - KEPT_FREE
