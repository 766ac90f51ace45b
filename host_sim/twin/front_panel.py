"""A front panel without hardware: the display as text, encoder and keys by call.

`display` and `read_keys` are what the fittings of a virtual board ask for.
"""

from __future__ import annotations

from collections import deque

from app.displays.display import Display
from app.grid import BAR_BOTH, BAR_BOTTOM, BAR_TOP, BLOCK, COLUMNS, ROWS
from app.keys import QUARTERS, STEADY, RawKeys
from rate_control.intmath import LIMIT

BARS = {BAR_TOP: "\u2580", BAR_BOTTOM: "\u2584", BAR_BOTH: "\u2261", BLOCK: "\u2588"}
HELD_READINGS = STEADY + 1


class GridDisplay(Display):
    """Keeps what it was sent."""

    def __init__(self) -> None:
        super().__init__()
        self.cells = bytearray(b" " * (COLUMNS * ROWS))

    def begin(self) -> None:
        """Nothing to start."""

    def resync(self) -> None:
        """Nothing to put in step."""

    def write_cells(self, row: int, column: int, cells: bytes | bytearray) -> None:
        """Take cells as a real display does: at a place, without asking what stood there."""
        start = row * COLUMNS + column
        self.cells[start : start + len(cells)] = cells


class SimulatedPanel:
    """Display, encoder and two keys.

    turn(), push() and back() may be called at any time; the board reads them one after the
    other, each for as many readings as a finger takes.
    """

    def __init__(self) -> None:
        self.display = GridDisplay()
        self._quarters = LIMIT - 1  # it wraps at the first turn clockwise
        self._levels: deque[tuple[int, int, int]] = deque()  # notches, push, back

    def turn(self, notches: int) -> None:
        """Turn the encoder, + clockwise."""
        self._levels.append((notches, 0, 0))

    def push(self) -> None:
        """Push the encoder and let it go."""
        self._press((0, 1, 0))

    def back(self) -> None:
        """Push the back key and let it go."""
        self._press((0, 0, 1))

    def press(self, key: str, count: int = 1) -> None:
        """Do one of KEYS: push or back, or turn by so many notches."""
        if key == "turn":
            self.turn(count)
        else:
            self._press((0, 1, 0) if key == "push" else (0, 0, 1))

    def _press(self, level: tuple[int, int, int]) -> None:
        self._levels.extend([level] * HELD_READINGS + [(0, 0, 0)] * HELD_READINGS)

    @property
    def busy(self) -> bool:
        """Whether something was done that has not been read yet."""
        return bool(self._levels)

    def read_keys(self, raw: RawKeys) -> None:
        """See Board."""
        notches, push, back = self._levels.popleft() if self._levels else (0, 0, 0)
        self._quarters = (self._quarters + notches * QUARTERS) & LIMIT
        raw.quarters = self._quarters
        raw.push = push
        raw.back = back

    def text(self) -> str:
        """What the display shows: four lines of twenty characters."""
        return text_of(self.display.cells)


def text_of(cells: bytes | bytearray) -> str:
    """Cells of a grid as four lines of text, the bars as block characters."""
    characters = [BARS.get(code, chr(code)) for code in cells]
    rows = range(0, COLUMNS * ROWS, COLUMNS)
    return "\n".join("".join(characters[start : start + COLUMNS]) for start in rows)
