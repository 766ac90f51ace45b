"""Editing a number, a digit at a time, or choosing one of a few words."""

from app.grid import COLUMNS, wrapped
from app.screens.base import answer
from app.screens.screen import CLOSE, Screen, page
from app.units_text import UNITS, steps_of, unit
from rate_control.intmath import divide_rounded

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from app.application import Application
    from app.grid import Grid


def edit(
    app: "Application", name: str, field: tuple, value: int,
    accept: "Callable[[int], Screen | str | list[str] | None]", hint: str = "",
    words: list[str] | None = None
) -> Screen:
    """Return the screen that edits value.

    field is (quantity, low, high) as in quantity_text.py, words the names of the values from
    low on where they have names. accept(value) returns what Screen.push() may return, a list of
    problems, or a problem to show; where it is empty, the screen closes.
    """
    if words:
        return Choice(app, name, field, value, accept, words)
    return Number(app, name, field, value, accept, hint)


class _Edit(Screen):
    """What both kinds share."""

    def __init__(
        self, app: "Application", name: str,
        accept: "Callable[[int], Screen | str | list[str] | None]"
    ) -> None:
        super().__init__(app)
        self._name = name
        self._accept = accept

    def _done(self, value: int) -> Screen | str | None:
        return answer(self.app, self._accept(value)) or CLOSE


class Choice(_Edit):
    """One of a few words."""

    def __init__(
        self, app: "Application", name: str, field: tuple, value: int,
        accept: "Callable[[int], Screen | str | list[str] | None]", words: list[str]
    ) -> None:
        super().__init__(app, name, accept)
        self._low = field[1]
        self._index = value - self._low
        self._words = words

    def turn(self, notches: int) -> None:
        """See Screen."""
        self._index = min(max(self._index + notches, 0), len(self._words) - 1)

    def push(self) -> Screen | str | None:
        """See Screen."""
        return self._done(self._low + self._index)

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        grid.text(0, 0, self._name)
        grid.text(1, 0, self._words[self._index])
        grid.text(3, 0, "turn, then push")


class Number(_Edit):
    """A number in the units that are set. Pushing goes on to the next digit, and past the last.

    What is turned is the number of steps of the last shown place; a value that was not turned
    comes back to the last bit.
    """

    def __init__(
        self, app: "Application", name: str, field: tuple, value: int,
        accept: "Callable[[int], Screen | str | list[str] | None]", hint: str
    ) -> None:
        super().__init__(app, name, accept)
        self._quantity, self._low, self._high = field
        self._value = value
        self._hint = wrapped(hint) + ["turn; push: next"]
        us = self.us()
        self._decimals = UNITS[self._quantity][us][1] if self._quantity else 0
        self._first = self._steps = self._steps_of(value)
        self._lowest = self._within(self._steps_of(self._low), 1)
        self._highest = self._within(self._steps_of(self._high), -1)
        self._places = max(len(str(self._highest)), self._decimals + 1)
        self._place = self._first_place()  # 0 is the last digit

    def _first_place(self) -> int:
        """The first digit of the value, or the ones; of nothing, the first that can be."""
        if not self._steps:
            return self._places - 1
        return max(len(str(self._steps)) - 1, self._decimals)

    def _steps_of(self, value: int) -> int:
        if not self._quantity:
            return value
        return steps_of(self._quantity, value, self.us(), self._decimals)

    def _value_of(self, steps: int) -> int:
        if steps == self._first:
            return self._value
        if not self._quantity:
            return steps
        _, _, numerator, denominator = UNITS[self._quantity][self.us()]
        return divide_rounded(steps * numerator, denominator * 10**self._decimals)

    def _within(self, steps: int, inward: int) -> int:
        """Return the nearest steps, going inward, whose value is in range."""
        while not self._low <= self._value_of(steps) <= self._high:
            steps += inward
        return steps

    def turn(self, notches: int) -> None:
        """See Screen."""
        steps = self._steps + notches * 10**self._place
        self._steps = min(max(steps, self._lowest), self._highest)

    def push(self) -> Screen | str | None:
        """See Screen."""
        if self._place:
            self._place -= 1
            return None
        return self._done(self._value_of(self._steps))

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen: a caret under the digit that turns."""
        decimals = self._decimals
        digits = str(self._steps)
        digits = "0" * (max(self._place, decimals) + 1 - len(digits)) + digits
        digits = " " * (self._places - len(digits)) + digits
        text = digits[: self._places - decimals]
        if decimals:
            text += "." + digits[-decimals:]
        caret = self._places - 1 - self._place
        if decimals and self._place < decimals:
            caret += 1
        label = unit(self._quantity, self.us()) if self._quantity else ""
        beside = len(text) + 1 + len(label) <= COLUMNS
        grid.text(0, 0, self._name)
        grid.text(1, 0, text + " " + label if beside else text)
        if not beside:
            grid.right(2, label)
        grid.text(2, caret, "^")
        grid.text(3, 0, page(self._hint, age))
