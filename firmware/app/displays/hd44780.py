"""Character display of 20 x 4 with an HD44780 controller behind a PCF8574 on I2C.

Codes, timing and the four-bit start-up: Hitachi HD44780U data sheet, ADE-207-272 (figure 24 for
the start-up; from memory). A module of 20 x 4 shows rows 1 and 3 out of the first line of the
controller's memory, and rows 2 and 4 out of its second. The wiring of the port expander is
that of the usual adapter (common practice, no source).
"""

from app.displays.display import Display
from app.grid import COLUMNS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from app.displays.display import I2c

ADDRESS = 0x27  # 0x3F where the expander is the A type

ROW_ADDRESS = (0x00, 0x40, 0x14, 0x54)

_RS = 0x01  # data, not an instruction
_ENABLE = 0x04  # the controller takes the nibble as it falls
_LIGHT = 0x08

_NOT_SHIFTED = 0x02
_ENTRY_RIGHTWARDS = 0x06
_ON_WITHOUT_CURSOR = 0x0C
_FOUR_BITS_TWO_LINES = 0x28
_GLYPH_ADDRESS = 0x40
_CELL_ADDRESS = 0x80

# bars and block, codes 1 to 4: 8 rows of 5 dots each
GLYPHS = (
    b"\x1f\x1f\x00\x00\x00\x00\x00\x00",
    b"\x00\x00\x00\x00\x00\x00\x1f\x1f",
    b"\x1f\x1f\x00\x00\x00\x00\x1f\x1f",
    b"\x1f\x1f\x1f\x1f\x1f\x1f\x1f\x1f",
)


class Hd44780(Display):
    """i2c has writeto(address, bytes) and runs at 100 kHz; sleep_ms(ms) waits."""

    def __init__(
        self, i2c: "I2c", sleep_ms: "Callable[[int], object]", address: int = ADDRESS
    ) -> None:
        super().__init__()
        self._i2c = i2c
        self._sleep_ms = sleep_ms
        self._address = address
        self._bytes = bytearray(4 * (1 + COLUMNS))
        self._length = 0

    def begin(self) -> None:
        """See Display."""
        self._sleep_ms(50)  # after power-up
        self.resync()

    def resync(self) -> None:
        """See Display. Eight bits, three times, is understood even halfway through a byte."""
        for wait_ms in (5, 1, 1):
            self._nibble(0x30)
            self._send()
            self._sleep_ms(wait_ms)
        self._nibble(0x20)  # four bits from here on
        self._send()
        for code in (_FOUR_BITS_TWO_LINES, _ON_WITHOUT_CURSOR, _ENTRY_RIGHTWARDS, _NOT_SHIFTED):
            self._instruction(code)
        self._send()
        self._sleep_ms(2)  # what undoing a shift takes
        for code, glyph in enumerate(GLYPHS):
            self._instruction(_GLYPH_ADDRESS | (code + 1) << 3)
            self._data(glyph)
            self._send()

    def write_cells(self, row: int, column: int, cells: bytes | bytearray) -> None:
        """See Display."""
        self._instruction(_CELL_ADDRESS | ROW_ADDRESS[row] + column)
        self._data(cells)
        self._send()

    def _instruction(self, code: int) -> None:
        self._nibble(code & 0xF0)
        self._nibble(code << 4 & 0xF0)

    def _data(self, codes: bytes | bytearray) -> None:
        for code in codes:
            self._nibble(code & 0xF0 | _RS)
            self._nibble(code << 4 & 0xF0 | _RS)

    def _nibble(self, bits: int) -> None:
        """Put a nibble into the buffer: with enable high, then low."""
        bits |= _LIGHT
        self._bytes[self._length] = bits | _ENABLE
        self._bytes[self._length + 1] = bits
        self._length += 2

    def _send(self) -> None:
        """Send the buffer in one transfer; two bytes at 100 kHz outlast an instruction."""
        length = self._length
        self._length = 0
        self._i2c.writeto(self._address, memoryview(self._bytes)[:length])
