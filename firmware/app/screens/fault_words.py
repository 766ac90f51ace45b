"""Faults in words: what is wrong, and what to do about it; and which of them are known."""

from app.grid import wrapped
from rate_control.faults import TABLE

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.grid import Grid

WORDS = 4  # of a row of the table: what is wrong, a colon, what to do
TITLE = "FAULT: master to off"
OVER = "it is over"


def short_words(row: tuple) -> str:
    """Return in one line what is wrong."""
    return row[WORDS].split(":")[0]


def draw_fault(grid: "Grid", mask: int, age: int) -> None:
    """Draw one of the blocking faults in mask; several take turns.

    There may be none: a change of settings takes the fault away, but not the state.
    """
    words: list = [row[WORDS] for row in TABLE if row[0] & mask] or [OVER]
    draw_words(grid, TITLE, words[age // 15 % len(words)])


def draw_words(grid: "Grid", title: str, words: str) -> None:
    """Draw what is wrong and, from a new row on, what to do."""
    grid.text(0, 0, title)
    row = 1
    for part in words.split(": ", 1):
        lines = wrapped(part)
        grid.lines(row, lines)
        row += len(lines)


class FaultMemory:
    """Which faults were seen since they were last forgotten, and which a person knows of."""

    def __init__(self, restarted: int) -> None:
        self.restarted = restarted
        self.seen = 0
        self._known = 0

    def update(self, active: int) -> None:
        """Take the active faults."""
        self.seen |= active
        self._known &= active  # one that comes again is new

    def acknowledge(self, active: int) -> None:
        """A person has touched a key: the buzzer may be quiet about what is active."""
        self._known = active

    def news(self, active: int) -> int:
        """Return the active faults that nobody has acknowledged."""
        return active & ~self._known

    def forget(self) -> None:
        """Forget the past."""
        self.restarted = 0
        self.seen = 0
