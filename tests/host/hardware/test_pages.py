"""Parts, cables and fuses: the pages are those of the tables, and the tables add up."""

from dataclasses import replace

import pytest

from host_sim.hardware import boards, cables, pages
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
