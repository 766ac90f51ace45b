"""What all measuring procedures share.

A procedure is made from a row of catalogue.py, handed to Controller.procedure and stepped once
a tick after the interlock, without allocating. Between ticks a person acts on it: marks, enters
what was read off a jug or a scale, takes back a slip, completes. Screens, link and command line
need nothing but accepts(), act(), prompt(), entry(), suggestion(), needs_more(), facts() and
proposal().

It proposes settings when it is done and changes none: the application shows the proposal beside
the present values (see keeping.py) and applies it only when a person confirms. A procedure that
NEEDS_BENCH gives the duty while the bench is on; it stops when the bench ends, so the master
switch ends it at any moment.
"""

from rate_control.procedures import DONE, FAILED, RUNNING, STOPPED  # noqa: F401  for procedures
from rate_control.ranges import out_of_range

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from rate_control.records import Decided, Measured

AGAINST_STOP = -65536  # a demand that keeps a valve's motor running shut; a pump rests

MARK = "mark"  # begin or end a run, now
ENTER = "enter"  # give the amount that entry() asks for
TAKE_BACK = "take_back"  # drop the newest run or amount
COMPLETE = "complete"  # end it with a result
NOT_NOW = "not possible now"
NOT_YET = "not precise enough yet"  # needs_more() says what is missing


class Procedure:
    """Base of all procedures.

    NAME is the word used by the link and the command line. state is one of the constants above,
    reason a fixed text for a person. duty_u16 is the demand it drives: a duty or a position.

    Wherever a value carries a quantity, that is a key of the table of units
    (app/units_text.py) and the value an int in the quantity's internal unit; "" is a plain
    number and "words" a fixed text.
    """

    NAME = ""
    NEEDS_BENCH = 0

    def __init__(self) -> None:
        self.state = RUNNING
        self.reason = ""
        self.duty_u16 = 0
        self.section_mask = -1  # sections it lets open, of those switched on

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """Take one tick: the records as the controller filled them (see records.py)."""
        raise NotImplementedError

    def stop(self) -> None:
        """End it without a result."""
        if self.state == RUNNING:
            self.finish(STOPPED, "stopped")

    def finish(self, state: int, reason: str) -> None:
        """End in a state, with the outputs of the procedure at rest."""
        self.state = state
        self.reason = reason
        self.duty_u16 = 0

    def accepts(self) -> tuple[str, ...]:
        """Return the actions that make sense now, a tuple of the words above, the usual first."""
        return ()

    def act(self, action: str, value: "Any" = None) -> str:
        """Do one of accepts(), with the value for ENTER; return "" or why not, in words.

        Between ticks only. What is refused changes nothing.
        """
        if self.state != RUNNING or action not in self.accepts():
            return NOT_NOW
        if action == MARK:
            return self._mark()
        if action == TAKE_BACK:
            return self._take_back()
        if action == ENTER:
            problem = entry_problem(self.entry(), value)
            return problem if problem else self._enter(value)
        if self.needs_more():
            return NOT_YET
        self.finish(DONE, "done")
        return ""

    def prompt(self) -> str:
        """Return what a person is to do next, a fixed text of at most 40 characters."""
        return ""

    def entry(self) -> "tuple[str, str, int, int] | Any":
        """Return what ENTER takes now as (name, quantity, low, high), None for nothing."""

    def suggestion(self) -> int:
        """Return the value to begin from when a person edits what ENTER takes."""
        return self.entry()[2]

    def needs_more(self) -> tuple[str, int, str] | None:
        """Return what is missing for the wanted precision as (words, value, quantity), or None.

        The value belongs after the words: ("more runs needed:", 2, ""). It allocates.
        """

    def proposal(self) -> dict:
        """Return the settings it proposes, a dict by name, empty unless done; it allocates."""
        return {}

    def facts(self) -> list[tuple]:
        """Return what was measured so far as a list of (name, value, quantity); it allocates."""
        return []

    def _mark(self) -> str:
        raise NotImplementedError

    def _enter(self, value: int) -> str:
        raise NotImplementedError

    def _take_back(self) -> str:
        raise NotImplementedError


def entry_problem(entry: tuple, value: object) -> str:
    """Return what is wrong with a value for an entry or a parameter, or an empty text."""
    return out_of_range(value, entry[2], entry[3])
