"""What all screens share. The encoder turns and pushes, the back key goes back."""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid

CLOSE = "close"  # what push() or back() return to leave the screen


class Screen:
    """Base of all screens. app is the application (see operations.py).

    One that REPLACES takes the place of the screen that opened it: back leads past that one.
    """

    REPLACES = 0

    def __init__(self, app: "Application") -> None:
        self.app = app

    def us(self) -> int:
        """Return whether US customary units are shown: as chosen for the display, else as set."""
        shown = self.app.shown_us
        return self.app.controller.settings.us_units if shown is None else shown

    def turn(self, notches: int) -> None:
        """The encoder was turned, + clockwise."""

    def push(self) -> "Screen | str | None":
        """The encoder was pushed: return a screen to open, CLOSE, or None to stay."""

    def back(self) -> "Screen | str | None":
        """The back key was pushed; the same."""
        return CLOSE

    def update(self) -> None:
        """Do what goes on by itself, some five times a second."""

    def closed(self) -> None:
        """The screen is left, by whatever way."""

    def draw(self, grid: "Grid", age: int) -> None:
        """Draw on an empty grid; age counts the drawings since the screen was opened."""
        raise NotImplementedError


def page(lines: list[str], age: int, period: int = 10) -> str:
    """Return the line whose turn it is: each is shown for period drawings."""
    return lines[age // period % len(lines)] if lines else ""

