"""The same page with a board on a serial line: it shows, and can do nothing."""

import re

import pytest
from playwright.sync_api import expect

from host_sim.panel.start import board_session
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER
from tests.browser.conftest import NARROW, WIDE
from tests.support.serial_twin import serial_twin

SOON_MS = 30_000


@pytest.fixture
def twin():
    with serial_twin(load_scenario(DEMO, field="calm")) as (twin, port):
        twin.port = port
        yield twin


@pytest.fixture
def session(twin):
    shown = board_session(twin.port)
    shown.start()
    yield shown
    shown.stop()
    assert shown.failure == ""


@pytest.fixture
def opened(open_page):
    return lambda size: open_page(size, first=lambda page: expect(
        page.locator(".controller .state")).not_to_be_empty(timeout=SOON_MS))


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
def test_a_board_is_shown_and_nothing_can_be_done(opened, twin, size):
    page = opened(size)
    expect(page.locator("#title")).to_contain_text("firmware")
    expect(page.locator("#machine")).to_be_hidden()
    expect(page.locator("#only-shows")).to_be_visible()
    expect(page.locator("#whose")).to_be_hidden()
    names = page.get_by_role("button").all_inner_texts()
    assert [name.split("\n")[0] for name in names] == [
        "metric", "US", "Keys ?", "2 min", "10 min", "1 h"]
    for key in "mlp,.b1":
        page.keyboard.press(key)

    expect(page.locator("#missing li")).to_have_text(
        ["master is off", "implement is up", "drive: too slow"], timeout=SOON_MS)
    assert not twin.board.switches & SWITCH_MASTER and not twin.panel.busy

    twin.vehicle.at_speed(3.0)  # hands at the machine
    twin.board.switches |= SWITCH_MASTER | SWITCH_IMPLEMENT
    expect(page.locator(".controller .state")).to_have_text("applying", timeout=SOON_MS)
    expect(page.locator(".big [data-show=applied-number]")).to_have_text(
        re.compile(r"^(7[89]|8[012])\.\d$"), timeout=SOON_MS)
    expect(page.get_by_role("img", name=re.compile(r"Display: .*applying"))).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]


def test_a_message_of_ones_own_is_refused(opened, twin):
    page = opened(WIDE)
    page.evaluate("""async () => (await import("/main.js")).panel.line.send("master", true)""")
    expect(page.locator("#refused")).to_have_text(
        "a real board is only shown: everything is done at the machine")
    assert not twin.board.switches & SWITCH_MASTER
