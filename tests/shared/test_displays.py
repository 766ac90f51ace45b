"""The display drivers, checked against models of the controllers on the other end of I2C."""

from app.displays.display import HEAL_CALLS
from app.displays.font import FIRST, FONT, GLYPH_COLUMNS
from app.displays.hd44780 import GLYPHS, Hd44780
from app.displays.ssd1306 import LEFT, Ssd1306
from app.grid import BLOCK, COLUMNS, ROWS, Grid, is_cell
from tests.shared.display_chips import CharacterModule, GraphicModule

CELLS = [code for code in range(128) if is_cell(code)]


def no_sleep(ms):
    """A driver waits; the models need no time."""


class Noise:
    """Grids of random cells, the same on every interpreter."""

    def __init__(self, seed):
        self._state = seed

    def below(self, limit):
        self._state = (self._state * 1103 + 12345) % 65521
        return self._state % limit

    def scatter(self, grid, count):
        for _ in range(count):
            grid.cells[self.below(COLUMNS * ROWS)] = CELLS[self.below(len(CELLS))]


def both():
    """Each module with its driver."""
    characters, graphic = CharacterModule(), GraphicModule()
    return (characters, Hd44780(characters, no_sleep)), (graphic, Ssd1306(graphic))


def rows_of(grid):
    return [bytes(grid.cells[row * COLUMNS : (row + 1) * COLUMNS]) for row in range(ROWS)]


def expected_dot(code, x, y):
    """A dot of a cell of 6 x 16: the bars by their outline, letters at twice their height."""
    if code <= BLOCK:
        return (y < 4 and code in (1, 3)) or (y >= 12 and code in (2, 3)) or code == BLOCK
    if x >= GLYPH_COLUMNS:
        return False
    return bool(FONT[(code - FIRST) * GLYPH_COLUMNS + x] >> (y >> 1) & 1)


def check_dots(module, grid):
    for row in range(ROWS):
        for column in range(COLUMNS):
            code = grid.cells[row * COLUMNS + column]
            for x in range(6):
                for y in range(16):
                    lit = module.dot(LEFT + 6 * column + x, 16 * row + y)
                    assert bool(lit) == expected_dot(code, x, y), (row, column, code, x, y)


def test_characters_arrive_where_they_belong():
    module = CharacterModule()
    display = Hd44780(module, no_sleep)
    grid, noise = Grid(), Noise(1)
    for _ in range(60):
        noise.scatter(grid, 7)
        display.show(grid)
        assert module.rows() == rows_of(grid)
    assert module.on and module.light


def test_bars_are_loaded_as_glyphs():
    module = CharacterModule()
    Hd44780(module, no_sleep).show(Grid())
    rows = [module.glyphs[8 * code : 8 * code + 8] for code in range(5)]
    assert bytes(rows[1]) == b"\x1f\x1f" + bytes(6)
    assert bytes(rows[2]) == bytes(6) + b"\x1f\x1f"
    assert bytes(rows[3]) == b"\x1f\x1f" + bytes(4) + b"\x1f\x1f"
    assert bytes(rows[4]) == b"\x1f" * 8


def test_only_what_changed_is_sent():
    for module, display in both():
        grid = Grid()
        display.show(grid)
        whole = module.bytes_taken
        display.show(grid)
        assert module.bytes_taken == whole
        grid.text(2, 5, "7")
        display.show(grid)
        assert module.bytes_taken - whole <= 30
        assert (module.bytes_taken - whole) * 10 < whole


def test_a_display_out_of_step_heals():
    garbled = 0
    for offset in range(HEAL_CALLS * ROWS):
        module = CharacterModule()
        display = Hd44780(module, no_sleep)
        grid, noise = Grid(), Noise(offset + 5)
        for _ in range(offset + 1):
            noise.scatter(grid, 5)
            display.show(grid)
        module.lose_a_nibble()
        noise.scatter(grid, 5)
        display.show(grid)
        garbled += module.rows() != rows_of(grid)
        for _ in range(HEAL_CALLS * ROWS + HEAL_CALLS):
            noise.scatter(grid, 5)
            display.show(grid)
        assert module.rows() == rows_of(grid)
        assert bytes(module.glyphs[8:40]) == b"".join(GLYPHS)
    assert garbled > HEAL_CALLS * ROWS // 2, "the noise must do harm first"


def test_a_display_that_comes_back_is_started_anew():
    for module, display in both():
        grid = Grid()
        display.show(grid)
        module.answers = 0
        grid.text(0, 0, "changed")
        try:
            display.show(grid)
            raise AssertionError("no OSError")
        except OSError:
            pass
        module.__init__()  # it lost its power meanwhile
        display.show(grid)
        assert module.on
        if isinstance(module, GraphicModule):
            check_dots(module, grid)
        else:
            assert module.rows() == rows_of(grid)


def test_graphic_cells_dot_by_dot():
    module = GraphicModule()
    display = Ssd1306(module)
    grid = Grid()
    for start in (0, 80 - 2 * len(CELLS) % 80):
        for index in range(COLUMNS * ROWS):
            grid.cells[index] = CELLS[(start + index) % len(CELLS)]
        display.show(grid)
        check_dots(module, grid)
    for page in module.pages:
        assert bytes(page[:LEFT]) == bytes(LEFT) and bytes(page[124:]) == bytes(4)


def test_graphic_changes_touch_nothing_else():
    module = GraphicModule()
    display = Ssd1306(module)
    grid, noise = Grid(), Noise(3)
    for _ in range(12):
        noise.scatter(grid, 5)
        display.show(grid)
    check_dots(module, grid)


def test_letters_are_told_apart():
    shapes = [FONT[5 * index : 5 * index + 5] for index in range(len(FONT) // 5)]
    assert len(shapes) == 126 - FIRST
    for index, shape in enumerate(shapes):
        assert shape not in shapes[:index], chr(FIRST + index)
    assert [shape for shape in shapes if not any(shape)] == [bytes(5)]  # the space
