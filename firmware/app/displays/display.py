"""What all displays share: they are sent only what has changed, and heal by themselves.

Noise from pump and valves can garble a character, or the display's idea of what comes next. So
every few calls one row is sent anew, after a sequence that puts the display in step again.
"""

from app.grid import COLUMNS, ROWS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Protocol

    from app.grid import Grid

    class I2c(Protocol):
        """The bus of a display, as machine.I2C is."""

        def writeto(self, address: int, data: bytes | bytearray | memoryview) -> object:
            """Send data to a device. Raises OSError where it does not answer."""

HEAL_CALLS = 10  # calls of show() between two rows sent anew


class Display:
    """Base of all displays; a driver gives begin(), resync() and write_cells()."""

    def __init__(self) -> None:
        self._shown = bytearray(COLUMNS * ROWS)  # 0 is no cell: all must be sent
        self._ready = 0
        self._calls = 0

    def begin(self) -> None:
        """Start the display, whatever state it is in. Raises OSError where it does not answer."""
        raise NotImplementedError

    def resync(self) -> None:
        """Put the display in step again without touching what it shows."""
        raise NotImplementedError

    def write_cells(self, row: int, column: int, cells: bytes | bytearray) -> None:
        """Show cells (bytes) from a place in a row on."""
        raise NotImplementedError

    def show(self, grid: "Grid") -> None:
        """Make the display show a Grid.

        Raises OSError where it does not answer; the next call then starts it anew.
        """
        try:
            if not self._ready:
                self.begin()
                self._forget(0, ROWS)
                self._ready = 1
            self._heal()
            for row in range(ROWS):
                self._show_row(row, grid.cells)
        except OSError:
            self._ready = 0
            raise

    def _heal(self) -> None:
        self._calls = (self._calls + 1) % (HEAL_CALLS * ROWS)
        if self._calls % HEAL_CALLS == 0:
            self.resync()
            self._forget(self._calls // HEAL_CALLS, 1)

    def _forget(self, row: int, rows: int) -> None:
        for index in range(row * COLUMNS, (row + rows) * COLUMNS):
            self._shown[index] = 0

    def _show_row(self, row: int, cells: bytes | bytearray) -> None:
        """Send the row from its first changed cell to its last."""
        start = row * COLUMNS
        end = start + COLUMNS
        while start < end and cells[start] == self._shown[start]:
            start += 1
        while end > start and cells[end - 1] == self._shown[end - 1]:
            end -= 1
        if start < end:
            self.write_cells(row, start - row * COLUMNS, cells[start:end])
            self._shown[start:end] = cells[start:end]
