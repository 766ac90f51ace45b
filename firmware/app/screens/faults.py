"""The faults: what is wrong, and what to do about it."""

from app.grid import COLUMNS, wrapped
from app.screens.screen import Screen
from app.words import in_words
from rate_control.faults import BLOCKING, TABLE

NAME, WORDS = 1, 4  # of a row of the table; the words are what is wrong, a colon, what to do
NEITHER = "no faults"
RESTARTED = "restarted by its watchdog: if it happens again, report it"


def short_words(row):
    """Return in one line what is wrong."""
    words = row[WORDS].split(":")[0]
    return words if len(words) <= COLUMNS else in_words(row[NAME])


def draw_fault(grid, mask, age):
    """Draw one of the blocking faults in mask; several take turns."""
    rows = [row for row in TABLE if row[0] & mask]
    if rows:
        row = rows[age // 15 % len(rows)]
        draw_words(grid, "FAULT - master off", row[WORDS])


def draw_words(grid, title, words):
    """Draw what is wrong and, from a new row on, what to do."""
    grid.text(0, 0, title)
    row = 1
    for part in words.split(": ", 1):
        lines = wrapped(part)
        grid.lines(row, lines)
        row += len(lines)


class Faults(Screen):
    """Leafs through what is wrong now, what was, and what failed; push forgets the past."""

    def __init__(self, app, memory):
        super().__init__(app)
        self._memory = memory
        self._index = 0

    def _pages(self):
        """Return (title, words) of each page."""
        active = self.app.controller.decided.faults
        pages = []
        for row in TABLE:
            if row[0] & active:
                pages.append(("FAULT" if row[0] & BLOCKING else "warning", row[WORDS]))
        if self.app.failure:
            pages.append(("failed", self.app.failure))
        if self._memory.restarted:
            pages.append(("note", RESTARTED))
        for row in TABLE:
            if row[0] & self._memory.seen & ~active:
                pages.append(("earlier", row[WORDS]))
        return pages

    def turn(self, notches):
        """See Screen."""
        self._index += notches

    def push(self):
        """See Screen."""
        self._memory.forget()
        self.app.forget_failure()

    def draw(self, grid, age):
        """See Screen."""
        pages = self._pages()
        self._index = min(max(self._index, 0), max(len(pages) - 1, 0))
        if not pages:
            grid.text(0, 0, NEITHER)
            return
        title, words = pages[self._index]
        draw_words(grid, title, words)
        grid.right(0, "%d of %d" % (self._index + 1, len(pages)))


class FaultMemory:
    """Which faults were seen since they were last forgotten, and which a person knows of."""

    def __init__(self, restarted):
        self.restarted = restarted
        self.seen = 0
        self._known = 0

    def update(self, active):
        """Take the active faults."""
        self.seen |= active
        self._known &= active  # one that comes again is new

    def acknowledge(self, active):
        """A person has touched a key: the buzzer may be quiet about what is active."""
        self._known = active

    def news(self, active):
        """Return the active faults that nobody has acknowledged."""
        return active & ~self._known

    def forget(self):
        """Forget the past."""
        self.restarted = 0
        self.seen = 0
