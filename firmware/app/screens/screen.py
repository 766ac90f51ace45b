"""What all screens share. The encoder turns and pushes, the back key goes back."""

from app.grid import ROWS, wrapped

CLOSE = "close"  # what push() or back() return to leave the screen


class Screen:
    """Base of all screens. app is the application (see operations.py).

    One that REPLACES takes the place of the screen that opened it: back leads past that one.
    """

    REPLACES = 0

    def __init__(self, app):
        self.app = app

    def us(self):
        """Return whether US customary units are set."""
        return self.app.controller.settings.us_units

    def turn(self, notches):
        """The encoder was turned, + clockwise."""

    def push(self):
        """The encoder was pushed: return a screen to open, CLOSE, or None to stay."""

    def back(self):
        """The back key was pushed; the same."""
        return CLOSE

    def update(self):
        """Do what goes on by itself, some five times a second."""

    def closed(self):
        """The screen is left, by whatever way."""

    def draw(self, grid, age):
        """Draw on an empty grid; age counts the drawings since the screen was opened."""
        raise NotImplementedError


class Message(Screen):
    """Says something; every key goes on."""

    def __init__(self, app, text):
        super().__init__(app)
        self._lines = wrapped(text)

    def push(self):
        """See Screen."""
        return CLOSE

    def draw(self, grid, age):
        """See Screen."""
        grid.lines(0, self._lines)


class Confirm(Screen):
    """Asks; push does it, back does not.

    act() is called without arguments and returns what Screen.push() may return, or a problem to
    show.
    """

    def __init__(self, app, text, act):
        super().__init__(app)
        self._lines = wrapped(text)
        self._act = act

    def push(self):
        """See Screen."""
        return answer(self.app, self._act())

    def draw(self, grid, age):
        """See Screen."""
        grid.lines(0, self._lines[: ROWS - 1])
        grid.text(ROWS - 1, 0, "push: yes   back: no")


class List(Screen):
    """A list to choose from; a subclass gives count(), line() and chosen()."""

    TITLE = ""

    def __init__(self, app):
        super().__init__(app)
        self.index = 0

    def count(self):
        """Return how many entries there are, at least one."""
        raise NotImplementedError

    def line(self, index):
        """Return (name, value) of an entry."""
        raise NotImplementedError

    def chosen(self, index):
        """An entry was pushed: return what Screen.push() may return, or a problem to show."""
        raise NotImplementedError

    def turn(self, notches):
        """See Screen."""
        self.index = min(max(self.index + notches, 0), self.count() - 1)

    def push(self):
        """See Screen."""
        return answer(self.app, self.chosen(self.index))

    def draw(self, grid, age):
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


def answer(app, result):
    """Return what push() should for the result of an operation: problems become a message."""
    if isinstance(result, list):
        result = "; ".join(result)
    if isinstance(result, str) and result != CLOSE:
        return Message(app, result) if result else None
    return result


def page(lines, age, period=10):
    """Return the line whose turn it is: each is shown for period drawings."""
    return lines[age // period % len(lines)] if lines else ""

