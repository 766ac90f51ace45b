"""The faults: what is wrong, what was, and what failed."""

from app.screens.fault_words import WORDS, draw_words
from app.screens.screen import Screen
from rate_control.faults import BLOCKING, TABLE

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid
    from app.screens.fault_words import FaultMemory

NEITHER = "no faults"
RESTARTED = "restarted by its watchdog: if it happens again, report it"


class FaultsScreen(Screen):
    """Leafs through what is wrong now, what was, and what failed; push forgets the past."""

    def __init__(self, app: "Application", memory: "FaultMemory") -> None:
        super().__init__(app)
        self._memory = memory
        self._index = 0

    def _pages(self) -> list[tuple]:
        """Return (title, words) of each page."""
        active = self.app.controller.decided.faults
        pages = []
        for row in TABLE:
            if row[0] & active:
                pages.append(("FAULT" if row[0] & BLOCKING else "warning", row[WORDS]))
        if self.app.failure:
            pages.append(("failed", self.app.failure))
        pages.extend([("note", text) for text in self.app.notes])
        if self._memory.restarted:
            pages.append(("note", RESTARTED))
        for row in TABLE:
            if row[0] & self._memory.seen & ~active:
                pages.append(("earlier", row[WORDS]))
        return pages

    def turn(self, notches: int) -> None:
        """See Screen."""
        self._index = min(max(self._index + notches, 0), max(len(self._pages()) - 1, 0))

    def push(self) -> None:
        """See Screen."""
        self._memory.forget()
        self.app.forget_failure()

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        self.turn(0)  # there may be fewer than before
        pages = self._pages()
        if not pages:
            grid.text(0, 0, NEITHER)
            return
        title, words = pages[self._index]
        draw_words(grid, title, words)
        grid.right(0, "%d of %d" % (self._index + 1, len(pages)))
