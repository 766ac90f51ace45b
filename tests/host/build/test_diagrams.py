"""The diagrams are current, can be read on a phone, and change with what they show."""

import re
import xml.etree.ElementTree as ElementTree

import pytest

from app.screens import menu
from host_sim import REPO_ROOT
from host_sim.build.diagrams import tables
from host_sim.build.diagrams.__main__ import DIAGRAMS, FOLDER
from host_sim.build.diagrams.canvas import WIDTH
from rate_control import interlock

TEXT = "{http://www.w3.org/2000/svg}text"
LEAST_FONT = 12  # of a phone's pixels


@pytest.mark.parametrize("name", DIAGRAMS)
def test_diagram_is_current(name):
    assert DIAGRAMS[name]().svg() == (FOLDER / name).read_text(encoding="utf-8"), "run make docs"


def test_no_other_is_there_and_each_is_shown_with_words():
    assert {path.name for path in FOLDER.iterdir()} == set(DIAGRAMS)
    pages = "".join(path.read_text(encoding="utf-8") for folder in ("docs", "hardware")
                    for path in (REPO_ROOT / folder).rglob("*.md"))
    shown = dict(re.findall(r"!\[([^\]]{20,})\]\([^)]*diagrams/(\w+\.svg)\)", pages))
    assert set(shown.values()) == set(DIAGRAMS)


@pytest.mark.parametrize("name", DIAGRAMS)
def test_diagram_can_be_read_on_a_phone(name):
    root = ElementTree.parse(FOLDER / name).getroot()
    assert root.get("viewBox").split()[2] == str(WIDTH)
    for text in root.iter(TEXT):
        size, x = float(text.get("font-size")), float(text.get("x"))
        wide = len(text.text or "") * size * 0.54
        before = {"start": 0, "middle": wide / 2, "end": wide}[text.get("text-anchor")]
        assert size >= LEAST_FONT
        assert x - before >= 0 and x - before + wide <= WIDTH, text.text


def test_interlock_shows_what_the_table_says(monkeypatch):
    before = tables.interlock_states().svg()
    rows = tuple((*row[:1], row[1] & ~interlock.STANDSTILL, *row[2:]) for row in interlock.TABLE)
    monkeypatch.setattr(interlock, "TABLE", rows)
    assert tables.interlock_states().svg() != before
    asked = {getattr(interlock, name) for name in tables.interlock_permits()}
    every = interlock.APPLYING_PERMITS | interlock.BENCH_PERMITS | interlock.PRIMING_PERMITS
    assert sum(asked) == every & ~interlock.STANDSTILL


def test_menu_shows_what_the_screens_hold(monkeypatch):
    monkeypatch.setattr(menu, "ENTRIES", (*menu.ENTRIES, ("a new one", None)))
    assert ">a new one<" in tables.menu_tree().svg()


def test_tick_has_the_stages_of_step():
    assert [name for name, _ in tables.stages()] == [
        "sense", "permit", "decide", "run procedure", "actuate", "account"]
