"""The page of a machine with a pressure sensor."""

import re

import pytest
from playwright.sync_api import expect

from host_sim.panel.start import twin_session
from host_sim.twin.scenario import SCENARIO_DIR
from tests.browser.conftest import NARROW

PLOT_BAR = (SCENARIO_DIR / "plot_bar.machine.toml").read_text(encoding="utf-8")
SENSOR = '\n[pressure]\nsignal = "0.5 to 4.5 V"\nrange = "4 bar"\n'
SOON_MS = 30_000


@pytest.fixture
def session(tmp_path):
    path = tmp_path / "bar.toml"
    path.write_text(PLOT_BAR + SENSOR, encoding="utf-8")
    played = twin_session(None, path, tmp_path / "out")
    played.start()
    yield played
    played.stop()
    assert played.failure == ""


def test_its_pressure_is_shown_in_both_systems_and_a_cut_wire_is_said(open_page):
    page = open_page(NARROW)
    pressure = page.locator("#pressure [data-show=pressure]")
    page.get_by_role("button", name="Master").click()
    page.get_by_role("button", name="Implement").click()
    page.get_by_label("throttle").fill("80")
    expect(pressure).to_have_text(re.compile(r"^1\.[1-9]\d bar$"), timeout=SOON_MS)
    page.get_by_role("button", name="US", exact=True).click()
    expect(pressure).to_have_text(re.compile(r"^(1[6-9]|2\d)\.\d psi$"))
    for fact in ("#pressure", "#outlets-pass"):
        box = page.locator(fact).bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= NARROW[0]
    page.get_by_role("button", name="pressure sensor cut").click()
    expect(pressure).to_have_text("no signal")
    expect(page.locator("#faults li")).to_have_text(
        ["pressure sensor: no signal, look at its cable"])
