"""Screens that others are made of: a message, a question, a list. Loaded with the first of them."""

from app.grid import ROWS, wrapped
from app.screens.screen import CLOSE, Screen

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from app.application import Application
    from app.grid import Grid

# what is asked before the bench, and how soon it then begins, in ticks, or not at all
CAUTION = "liquid will run. nobody at outlets? label followed?"
ENTRY_TICKS = 2


class Message(Screen):
    """Says something; every key goes on."""

    def __init__(self, app: "Application", text: str) -> None:
        super().__init__(app)
        self._lines = wrapped(text)

    def push(self) -> Screen | str | None:
        """See Screen."""
        return CLOSE

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        grid.lines(0, self._lines)


class Confirm(Screen):
    """Asks; push does it, back does not.

    act() is called without arguments and returns what Screen.push() may return, or a problem to
    show.
    """

    def __init__(
        self, app: "Application", text: str,
        act: "Callable[[], Screen | str | list[str] | None]"
    ) -> None:
        super().__init__(app)
        self._lines = wrapped(text)
        self._act = act

    def push(self) -> Screen | str | None:
        """See Screen."""
        return answer(self.app, self._act())

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        grid.lines(0, self._lines[: ROWS - 1])
        grid.text(ROWS - 1, 0, "push: yes   back: no")


class List(Screen):
    """A list to choose from; a subclass gives count(), line() and chosen()."""

    TITLE = ""

    def __init__(self, app: "Application") -> None:
        super().__init__(app)
        self.index = 0

    def count(self) -> int:
        """Return how many entries there are, at least one."""
        raise NotImplementedError

    def line(self, index: int) -> tuple[str, str]:
        """Return (name, value) of an entry."""
        raise NotImplementedError

    def chosen(self, index: int) -> Screen | str | list[str] | None:
        """An entry was pushed: return what Screen.push() may return, or a problem to show."""
        raise NotImplementedError

    def turn(self, notches: int) -> None:
        """See Screen."""
        self.index = min(max(self.index + notches, 0), self.count() - 1)

    def push(self) -> Screen | str | None:
        """See Screen."""
        return answer(self.app, self.chosen(self.index))

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen. The entry with the mark keeps to the lowest row but one where it can."""
        self.turn(0)  # the list may have become shorter
        top = 1 if self.TITLE else 0
        grid.text(0, 0, self.TITLE)
        rows = ROWS - top
        first = min(max(self.index - rows + 2, 0), max(self.count() - rows, 0))
        for index in range(first, min(first + rows, self.count())):
            row = top + index - first
            name, value = self.line(index)
            grid.pair(row, (">" if index == self.index else " ") + name, value)


def answer(app: "Application", result: Screen | str | list[str] | None) -> Screen | str | None:
    """Return what push() should for the result of an operation: problems become a message."""
    if isinstance(result, list):
        result = "; ".join(result)
    if isinstance(result, str) and result != CLOSE:
        return Message(app, result) if result else None
    return result
