"""The display as the application sees it: 4 rows of 20 characters.

A cell is printable ASCII without backslash and tilde, which character displays replace, or one
of the bars below that the big digits are built of. Every display draws the bars itself.
"""

COLUMNS = 20
ROWS = 4

BAR_TOP = 1
BAR_BOTTOM = 2
BAR_BOTH = 3
BLOCK = 4
SPACE = 32

BIG_WIDTH = 3
BIG_PITCH = 4

# the upper three cells of a big digit, then the lower three
_BIG = (
    b"\x04\x01\x04\x04\x02\x04",
    b"\x01\x04\x20\x02\x04\x02",
    b"\x03\x03\x04\x04\x02\x02",
    b"\x01\x03\x04\x02\x02\x04",
    b"\x04\x02\x04\x20\x20\x04",
    b"\x04\x03\x03\x02\x02\x04",
    b"\x04\x03\x03\x04\x02\x04",
    b"\x01\x01\x04\x20\x20\x04",
    b"\x04\x03\x04\x04\x02\x04",
    b"\x04\x03\x04\x02\x02\x04",
)
_BIG_DASH = b"\x02\x02\x02\x20\x20\x20"


def is_cell(code: int) -> bool:
    """Return whether a byte may stand in a cell."""
    return BAR_TOP <= code <= BLOCK or SPACE <= code < 126 and code != 92


class Grid:
    """80 cells, row by row; what does not fit is cut off."""

    def __init__(self) -> None:
        self.cells = bytearray(COLUMNS * ROWS)
        self.clear()

    def clear(self) -> None:
        """Fill with spaces."""
        for index in range(COLUMNS * ROWS):
            self.cells[index] = SPACE

    def text(self, row: int, column: int, text: str) -> None:
        """Write text from a column on; "?" stands for what a cell cannot show."""
        for char in text[: COLUMNS - column]:
            code = ord(char)
            self.cells[row * COLUMNS + column] = code if is_cell(code) else 63
            column += 1

    def right(self, row: int, text: str) -> None:
        """Write text so that it ends with the row."""
        text = text[:COLUMNS]
        self.text(row, COLUMNS - len(text), text)

    def pair(self, row: int, left: str, right: str) -> None:
        """Write a name and a value; where both do not fit, the name is cut."""
        room = COLUMNS - len(right)
        self.text(row, 0, left if len(left) < room else left[: max(room - 1, 0)])
        self.right(row, right)

    def lines(self, row: int, lines: list[str] | tuple[str, ...]) -> None:
        """Write a list of texts one below the other, as many as there is room for."""
        for line in lines[: ROWS - row]:
            self.text(row, 0, line)
            row += 1

    def big(self, text: str) -> None:
        """Write digits, points and dashes two rows high at the top left: at most 5 digits."""
        column = 0
        for char in text:
            if char == ".":
                self.text(1, column - 1, char)
            elif column + BIG_WIDTH <= COLUMNS:
                self._big_digit(column, _BIG_DASH if char == "-" else _BIG[int(char)])
                column += BIG_PITCH

    def _big_digit(self, column: int, shape: bytes) -> None:
        for index in range(BIG_WIDTH):
            self.cells[column + index] = shape[index]
            self.cells[COLUMNS + column + index] = shape[BIG_WIDTH + index]


def wrapped(text: str, width: int = COLUMNS) -> list[str]:
    """Return text as a list of lines of whole words, each at most width characters."""
    lines = []
    line = ""
    for word in text.split():
        while len(word) > width:
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:width])
            word = word[width:]
        joined = line + " " + word if line else word
        if len(joined) > width:
            lines.append(line)
            line = word
        else:
            line = joined
    return lines + [line] if line else lines
