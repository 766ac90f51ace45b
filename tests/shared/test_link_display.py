"""What the display shows can be read over the link, the bars of its big digits too."""

from app.grid import BAR_BOTH, BAR_TOP, BLOCK, Grid
from app.screens.screen import Screen
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
    assert answer["problems"] == ["no display"]


def test_units_of_the_display_are_chosen_without_a_change_of_settings():
    rig = LinkRig()
    application = rig.application
    screen = Screen(application)
    settings = application.controller.settings
    assert screen.us() == settings.us_units == 0
    assert rig.ask("display.units", us=1)["answer"] == "display.units"
    assert screen.us() == 1
    assert application.controller.settings is settings  # so nothing was applied, nothing locked
    assert settings.us_units == 0
    assert rig.ask("display.units", us=2)["problems"] == ["must be 0 to 1, is 2"]
    assert screen.us() == 1
    assert rig.ask("display.units", us=0)["answer"] == "display.units"
    assert screen.us() == 0


def test_the_display_follows_the_setting_again_once_that_is_changed():
    rig = LinkRig()
    screen = Screen(rig.application)
    rig.ask("display.units", us=1)
    assert rig.application.change_settings({"rate_ml_ha": 90000}) == []
    assert screen.us() == 1
    rig.application.change_settings({"us_units": 1})
    rig.ask("display.units", us=1)
    assert rig.application.change_settings({"us_units": 0}) == []
    assert screen.us() == 0
