"""Graphic display of 128 x 64 with an SSD1306 controller (or SSD1309) on I2C.

A cell is 6 x 16 dots: a font of 5 x 7, its height doubled, which reads better at arm's length
than 8 rows of small letters. Codes: Solomon Systech SSD1306 data sheet, rev. 1.1, table 9-1
(from memory).
"""

from app.displays.display import Display
from app.displays.font import FIRST, FONT, GLYPH_COLUMNS
from app.grid import BLOCK, COLUMNS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.displays.display import I2c

ADDRESS = 0x3C

WIDTH = 128
PAGES = 8  # rows of 8 dots, the controller's unit
CELL_WIDTH = 6
LEFT = (WIDTH - COLUMNS * CELL_WIDTH) // 2

_COMMAND = 0x00
_DATA = 0x40
_SET_PAGE = 0xB0
_COLUMN_LOW = 0x00
_COLUMN_HIGH = 0x10

_START = bytes((
    0xAE,  # off
    0xD5, 0x80, 0xA8, 0x3F, 0xD3, 0x00, 0x40,  # clock, 64 rows, no offset, first row
    0x8D, 0x14,  # charge pump
    0x20, 0x02,  # address page by page
    0xA1, 0xC8, 0xDA, 0x12,  # not mirrored, usual wiring of the rows
    0x81, 0xCF, 0xD9, 0xF1, 0xDB, 0x40,  # contrast
    0xA4, 0xA6, 0xAF,  # show the memory, not inverted, on
))

# bars and block, codes 1 to 4: dots of the upper and of the lower page, lowest bit on top
_BARS = ((0x0F, 0x00), (0x00, 0xF0), (0x0F, 0xF0), (0xFF, 0xFF))


class Ssd1306(Display):
    """i2c has writeto(address, bytes)."""

    def __init__(self, i2c: "I2c", address: int = ADDRESS) -> None:
        super().__init__()
        self._i2c = i2c
        self._address = address
        self._dots = bytearray(1 + COLUMNS * CELL_WIDTH)

    def begin(self) -> None:
        """See Display."""
        self.resync()
        empty = bytearray(1 + WIDTH)
        empty[0] = _DATA
        for page in range(PAGES):
            self._go_to(page, 0)
            self._i2c.writeto(self._address, empty)

    def resync(self) -> None:
        """See Display."""
        self._i2c.writeto(self._address, bytes((_COMMAND,)) + _START)

    def write_cells(self, row: int, column: int, cells: bytes | bytearray) -> None:
        """See Display."""
        dots = self._dots
        dots[0] = _DATA
        for half in range(2):
            end = 1
            for code in cells:
                for place in range(CELL_WIDTH):
                    dots[end + place] = column_dots(code, place, half)
                end += CELL_WIDTH
            self._go_to(2 * row + half, LEFT + column * CELL_WIDTH)
            self._i2c.writeto(self._address, memoryview(dots)[:end])

    def _go_to(self, page: int, column: int) -> None:
        self._i2c.writeto(self._address, bytes((
            _COMMAND, _SET_PAGE | page, _COLUMN_LOW | column & 15, _COLUMN_HIGH | column >> 4)))


def column_dots(code: int, place: int, half: int) -> int:
    """Return one dot column of a cell (place 0..5), its upper (half 0) or lower (1) 8 dots."""
    if code <= BLOCK:
        return _BARS[code - 1][half]
    if place >= GLYPH_COLUMNS:
        return 0
    nibble = FONT[(code - FIRST) * GLYPH_COLUMNS + place] >> 4 * half & 15
    return _DOUBLED[nibble]


# each dot of a nibble twice
_DOUBLED = bytes(sum(3 << 2 * bit for bit in range(4) if nibble >> bit & 1) for nibble in range(16))
