"""The grid of the display: what stands where, and what is cut."""

from app.grid import BLOCK, COLUMNS, ROWS, Grid, is_cell, wrapped
from tests.shared.panel_rig import big_of, lines_of


def test_text_is_cut_at_the_edge():
    grid = Grid()
    grid.text(1, 15, "sections")
    assert lines_of(grid.cells)[1] == " " * 15 + "secti"
    assert lines_of(grid.cells)[2] == " " * COLUMNS
    grid.right(3, "x" * 30)
    assert lines_of(grid.cells)[3] == "x" * COLUMNS


def test_every_cell_can_be_shown():
    grid = Grid()
    grid.text(0, 0, "a\\b~c\u00b5d\n\x00\x7fe")
    assert lines_of(grid.cells)[0].rstrip() == "a?b?c?d???e"
    assert all(is_cell(code) for code in grid.cells)
    assert len(grid.cells) == ROWS * COLUMNS


def test_pair_keeps_the_value_and_cuts_the_name():
    grid = Grid()
    grid.pair(0, "speed", "8.2 km/h")
    grid.pair(1, "a very long name of it", "12.5 L/ha")
    lines = lines_of(grid.cells)
    assert lines[0] == "speed       8.2 km/h"
    assert lines[1] == "a very lon 12.5 L/ha"


def test_big_digits_read_back():
    grid = Grid()
    for text in ("0", "12.34", "56.78", "9.0", "100.0", "12345", "---"):
        grid.clear()
        grid.big(text)
        assert big_of(grid.cells) == text, text


def test_big_digits_are_all_different_and_two_rows_high():
    seen = []
    for digit in "0123456789-":
        grid = Grid()
        grid.big(digit)
        assert bytes(grid.cells) not in seen
        seen.append(bytes(grid.cells))
        assert all(code == 32 for code in grid.cells[2 * COLUMNS :])
    grid = Grid()
    grid.big("123456")  # one more than there is room for
    assert big_of(grid.cells) == "12345"


def test_eight_is_a_frame_with_a_bar():
    grid = Grid()
    grid.big("8")
    assert grid.cells[0] == grid.cells[2] == BLOCK
    assert grid.cells[COLUMNS] == grid.cells[COLUMNS + 2] == BLOCK
    assert grid.cells[1] != 32 and grid.cells[COLUMNS + 1] != 32


def test_wrapped_keeps_words_whole():
    assert wrapped("") == []
    assert wrapped("switch the master off, then on again") == [
        "switch the master", "off, then on again"]
    assert wrapped("x" * 45) == ["x" * 20, "x" * 20, "x" * 5]
    assert wrapped("a " + "x" * 21) == ["a", "x" * 20, "x"]
