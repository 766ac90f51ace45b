"""Parts, cables and fuses: the pages are those of the tables, and the tables add up."""

import math
import re
from dataclasses import replace

import pytest

from host_sim.hardware import boards, cables, pages, plumbing
from host_sim.hardware.parts_list import ITEMS
from host_sim.hardware.plumbing import HoseRun
from host_sim.hardware.sheets import circuit


def test_pages_are_those_of_the_tables():
    for path, text in pages.texts().items():
        assert path.read_text("utf-8") == text, "run: python -m host_sim hardware draw"


def test_every_page_says_that_nobody_has_built_it():
    for path in pages.HARDWARE_DIR.glob("*.md"):
        if path.name != "changelog.md":
            assert "not built" in path.read_text("utf-8").lower(), path.name


@pytest.mark.parametrize("name", boards.names())
def test_cables_and_fuses_add_up(name):
    assert list(cables.findings(circuit(name))) == []


@pytest.mark.parametrize(("table", "row", "change", "said"), [
    ("TABLE", 1, {"mm2": 1.0}, "J2: loses"),
    ("TABLE", 1, {"mm2": 1.0}, "J2: 1 mm2 carries 8.75 A"),
    ("TABLE", 2, {"colours": ("red", "black")}, "J3: 2 colours, 3 wires"),
    ("TABLE", 2, {"colours": ("red", "black", "red")}, "J3: two wires of one colour"),
    ("FUSES", 5, {"load_a": 14}, "F5: 15 A for a load of 14 A"),
    ("FUSES", 5, {"mm2": 1.0}, "F5: 15 A guards a wire for 8.75 A"),
])
def test_what_does_not_add_up_is_named(monkeypatch, table, row, change, said):
    rows = list(getattr(cables, table))
    rows[row] = replace(rows[row], **change)
    monkeypatch.setattr(cables, table, tuple(rows))
    assert any(one.startswith(said) for one in cables.findings(circuit("rp2")))


def test_displays_are_those_that_the_firmware_looks_for():
    source = (pages.REPO_ROOT / "firmware/boards/front_panel.py").read_text("utf-8")
    text = pages.parts_page()
    for address in ("0x3C", "0x27", "0x3F"):
        assert address in source
        assert f"| {address[2:]} | " in text


def test_hose_loses_what_a_worked_example_gives():
    """Water at 20 C, 2.0 m/s in a smooth pipe of 50 mm: Re 100 000, friction 0.0178.

    So over 100 m 0.0178 x 100/0.05 x 998 x 2.0^2/2 = 71 kPa; Moody's chart has 0.018.
    """
    flow_l_min = 2.0 * math.pi * 0.05**2 / 4 * 60e3
    assert HoseRun("", 100, 50, flow_l_min).loss_bar == pytest.approx(0.71, rel=0.02)


def test_a_slow_flow_is_laminar():
    """Hagen and Poiseuille: 128 x viscosity x length x flow / (pi x bore^4)."""
    flow = 0.5 / 60e3
    exact = 128 * 998e-6 * 2 * flow / (math.pi * 0.01**4) / 1e5
    assert HoseRun("", 2, 10, 0.5).loss_bar == pytest.approx(exact, rel=1e-3)


def test_all_that_is_lost_on_the_way_is_accounted_for():
    """`size` against the sum by hand, at 6 km/h: 6 L/min in all, 2 L/min in each section."""
    point = plumbing.points()[-1]
    lost = point["pump_pressure_bar"] - point["outlet_pressure_bar"]
    regulating = (plumbing.REGULATING_BAR + plumbing.STRAINER_BAR + plumbing.MAIN.loss_bar)
    section = plumbing.VALVE_BAR + plumbing.SECTION.loss_bar
    by_hand = 0.5 + round(regulating, 2) * (6 / 20) ** 2 + round(section, 2) * (2 / 10) ** 2
    assert lost == pytest.approx(by_hand, abs=0.01)


def test_firmware_and_commands_name_the_registers_that_are_bought():
    """A 74HC part where the list has another would not take 3.3 V for high on its 5 V supply."""
    sources = [*(pages.REPO_ROOT / "firmware/boards").glob("*.py"),
               *(pages.REPO_ROOT / "host_sim/board").glob("*.py"),
               *(pages.REPO_ROOT / "host_sim/hardware").glob("*.py")]
    named = {part for source in sources for part in re.findall(r"\b74[A-Z]+\d+\b",
                                                               source.read_text("utf-8"))}
    assert {"74HCT595", "74HC165"} <= named
    assert named <= set(ITEMS)
