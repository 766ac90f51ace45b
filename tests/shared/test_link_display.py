"""What the display shows can be read over the link, the bars of its big digits too."""

from app.grid import BAR_BOTH, BAR_TOP, BLOCK, Grid
from tests.support.link_rig import LinkRig


def test_rows_of_the_display_arrive_as_they_are():
    rig = LinkRig()
    rig.link.grid = grid = Grid()
    grid.big("80")
    grid.text(2, 0, 'a "quoted" word')
    rows = rig.ask("display.get")["rows"]
    assert [len(row) for row in rows] == [20] * 4
    assert rows[0][4] == chr(BLOCK) and rows[0][5] == chr(BAR_TOP)
    assert chr(BAR_BOTH) in rows[0]
    assert rows[2] == 'a "quoted" word     '
    assert rows[3] == " " * 20


def test_a_controller_without_operator_interface_says_so():
    answer = LinkRig().ask("display.get")
    assert answer["error"] == "refused"
    assert answer["problems"] == ["there is no operator interface"]
