"""The pin tables, and the wiring page that shows them."""

import re

import pytest

from boards import esp32_pins, rp2_pins
from boards.section_port import SectionPort
from host_sim import REPO_ROOT
from host_sim.build.pin_reference import RIG_MD, WIRING_MD, with_tables, with_wires
from host_sim.hardware.pin_rules import tables
from host_sim.hardware.signals import BY_NAME, SIGNALS

TABLES = [rp2_pins, esp32_pins]


def numbers(pins):
    """Every pin by its name."""
    return {name: getattr(pins, name) for name in BY_NAME if hasattr(pins, name)}


@pytest.mark.parametrize("pins", TABLES)
def test_the_rules_read_the_table_that_the_board_runs(pins):
    """They read it as text; tests/host/hardware/test_pin_rules.py breaks each of them."""
    table = tables()[pins.__name__.split(".")[-1].removesuffix("_pins")]
    assert dict(table.gpio) == numbers(pins)
    for name in ("OUTPUTS_LOW", "OUTPUTS_HIGH"):
        assert [table.gpio[output] for output in table.safe[name]] == list(getattr(pins, name))


def test_wiring_page_shows_the_present_pins():
    text = WIRING_MD.read_text(encoding="utf-8")
    assert with_tables(text) == text, "run make docs"


def test_the_rig_s_page_shows_the_present_pins():
    text = RIG_MD.read_text(encoding="utf-8")
    assert with_wires(text) == text, "run make docs"


def held_by_the_page():
    """Level by output, as a person reads it in the rule on the wiring page."""
    rule = WIRING_MD.read_text(encoding="utf-8").split("## What must never be left out")[1]
    rows = re.findall(r"^\| (low|high), by a (pull-down|pull-up) .*?\| (.*) \|$", rule, re.M)
    assert [row[:2] for row in rows] == [("low", "pull-down"), ("high", "pull-up")]
    return {name: level for level, _, names in rows for name in re.findall(r"`(\w+)`", names)}


@pytest.mark.parametrize("pins", TABLES)
def test_wiring_page_holds_every_output_at_the_level_that_boot_drives(pins):
    named = {number: name for name, number in numbers(pins).items()}
    held = held_by_the_page()
    assert [named[pin] for pin in pins.OUTPUTS_LOW if held.get(named[pin]) != "low"] == []
    assert [named[pin] for pin in pins.OUTPUTS_HIGH if held.get(named[pin]) != "high"] == []
    outputs = {signal.name for signal in SIGNALS if signal.direction == "out"}
    assert set(held) == outputs


def test_the_latch_is_held_where_the_firmware_leaves_it():
    """Between two transfers it is high; a falling edge would load the switches anew."""
    latch, off = Level(), Level()
    port = SectionPort(NoSpi(), latch, off)
    port.write(0)
    levels = {"SECTION_LATCH": latch.now, "SECTION_OFF": off.now}
    held = held_by_the_page()
    assert {name: held[name] for name in levels} == {
        name: "high" if level else "low" for name, level in levels.items()
    }


def test_every_page_gives_the_rule_of_the_wiring_page():
    """No page asks for a pull-down on an output that is safe high."""
    high = {name for name, level in held_by_the_page().items() if level == "high"}
    text = " ".join((REPO_ROOT / "hardware" / "README.md").read_text(encoding="utf-8").split())
    rule = re.search(r"For most outputs that is low, by a pull-down; for (.*?) it is high", text)
    assert set(re.findall(r"`(\w+)`", rule[1])) == high - {"I2C_CLOCK"}  # idle bus, no output


class Level:
    """An output pin that remembers its level."""

    now = None

    def value(self, level):
        """Take a level."""
        self.now = level


class NoSpi:
    """An SPI bus with nothing on it."""

    def write_readinto(self, out, into):
        """Read ones."""
        into[0] = 0xFF
