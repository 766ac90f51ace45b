"""The operator interface: display, encoder, keys, lamp and buzzer, as jobs of the application."""

from app.grid import Grid
from app.keys import Keys, RawKeys
from app.loaded import forget
from app.screens.fault_words import FaultMemory
from app.screens.screen import CLOSE
from app.screens.work import Work
from app.signals import STEP_MS, Signals, pattern

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.application import Application
    from app.displays.display import Display
    from app.screens.screen import Screen

KEYS_MS = 10
DRAW_MS = 200
AGE_LIMIT = 1 << 20


class Operator:
    """Shows one screen out of a stack whose bottom is the work screen.

    grid is what the display shows; a display that does not answer is tried again at every
    drawing, and the machine can be used without.
    """

    def __init__(self, app: "Application") -> None:
        self.app = app
        self.grid = Grid()
        self.memory = FaultMemory(app.board.reset_cause() == "watchdog")
        self.display_lost = 0
        self._display: Display | None = None
        self._keys = Keys()
        self._raw = RawKeys()
        self._signals = Signals()
        self._screens = [Work(app, self)]
        self._age = 0
        self._asked: tuple[str, dict] | None = None
        app.jobs.add("keys", KEYS_MS, self.read_keys)
        app.jobs.add("display", DRAW_MS, self.draw)
        app.jobs.add("signals", STEP_MS, self.signal)

    def screen(self) -> "Screen":
        """Return the screen that is shown."""
        return self._screens[-1]

    def read_keys(self) -> None:
        """Read the keys, pass what happened to the screen, and keep the faults in mind."""
        active = self.app.controller.decided.faults
        self.memory.update(active)
        self.app.board.read_keys(self._raw)
        keys = self._keys
        if not keys.update(self._raw):
            return
        self.memory.acknowledge(active)
        if keys.turned:
            self.screen().turn(keys.turned)
        if keys.pushed:
            self.follow(self.screen().push())
        if keys.back:
            self.follow(self.screen().back())
        self.draw()

    def follow(self, result: "Any") -> None:
        """Do what a screen returned: close it, open another, or stay."""
        if result is None:
            return
        self._age = 0
        if result == CLOSE:
            self._close()
            if len(self._screens) == 1:
                forget()
            return
        if result.REPLACES:
            self._close()
        self._screens.append(result)

    def _close(self) -> None:
        if len(self._screens) > 1:
            self._screens.pop().closed()

    def _look_at_asked(self) -> None:
        """Show a procedure that was asked for from elsewhere: here it can be confirmed.

        It waits until the work screen is alone, so as not to tear anyone out of something.
        """
        if self.app.asked is self._asked or len(self._screens) > 1:
            return
        self._asked = self.app.asked
        if self._asked is not None:
            from app.screens.calibrate import asked
            self.follow(asked(self.app))

    def draw(self) -> None:
        """Draw the screen and show it."""
        self._look_at_asked()
        screen = self.screen()
        screen.update()
        self.grid.clear()
        screen.draw(self.grid, self._age)
        self._age = (self._age + 1) % AGE_LIMIT
        try:
            if self._display is None:
                self._display = self.app.board.display()
            if self._display is not None:
                self._display.show(self.grid)
            self.display_lost = 0
        except OSError:
            self.display_lost = 1

    def signal(self) -> None:
        """Set lamp and buzzer."""
        decided = self.app.controller.decided
        trouble = bool(self.app.failure or self.app.notes) or self.display_lost
        row = pattern(decided.state, decided.faults, trouble)
        lamp, buzzer = self._signals.next(row, self.memory.news(decided.faults))
        self.app.board.signal(lamp, buzzer)
