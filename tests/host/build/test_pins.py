"""The pin tables: nothing is used twice, everything sits where the chip can reach it."""

import re

import pytest

from boards import esp32_pins, rp2_pins
from boards.section_port import SectionPort
from host_sim import REPO_ROOT
from host_sim.build.pin_reference import CHIPS, WIRES, WIRING_MD, with_tables

TABLES = [pins for _, pins in CHIPS.values()]
ON_THE_BOARD_ITSELF = {23, 24, 25, 29}  # Raspberry Pi Pico and Pico W data sheets, section 2
# RP2040 data sheet, table 278 (functions of each pin)
RP2_SPI0 = {"SECTION_CLOCK": {2, 6, 18, 22}, "SECTION_DATA": {3, 7, 19, 23},
            "SWITCH_DATA": {0, 4, 16, 20}}  # fmt: skip
RP2_I2C0 = {"I2C_DATA": {0, 4, 8, 12, 16, 20}, "I2C_CLOCK": {1, 5, 9, 13, 17, 21}}
RP2_UART0 = {"GNSS_TX": {0, 12, 16}, "GNSS_RX": {1, 13, 17}}
RP2_ADC = {26, 27, 28}
ESP32_FLASH = set(range(6, 12))  # ESP32-WROOM-32 data sheet, table 3
ESP32_CONSOLE = {1, 3}
ESP32_INPUT_ONLY = {34, 35, 36, 37, 38, 39}
ESP32_ADC1 = {32, 33, 34, 35, 36, 37, 38, 39}
ESP32_RESET_LEVELS = {0, 12}  # decide how the chip starts


def numbers(pins):
    """Every pin by its name."""
    return {name: getattr(pins, name) for name, *_ in WIRES if hasattr(pins, name)}


@pytest.mark.parametrize("pins", TABLES)
def test_no_pin_is_used_twice(pins):
    used = list(numbers(pins).values())
    assert len(used) == len(set(used))


@pytest.mark.parametrize("pins", TABLES)
def test_every_pin_is_described(pins):
    named = {name for name in dir(pins) if name.isupper() and not name.startswith("OUTPUTS")}
    assert named == set(numbers(pins))


@pytest.mark.parametrize("pins", TABLES)
def test_every_output_that_can_hurt_is_made_safe_and_pulled_that_way(pins):
    """boot.py drives the two lists; the resistor outside agrees with it."""
    pulls = {getattr(pins, name): pull for name, direction, pull, _ in WIRES
             if hasattr(pins, name) and direction == "out"}  # fmt: skip
    assert {pulls[pin] for pin in pins.OUTPUTS_LOW} == {"down"}
    assert {pulls[pin] for pin in pins.OUTPUTS_HIGH} == {"up"}
    bus = {pins.SECTION_CLOCK, pins.SECTION_DATA, pins.SECTION_LATCH, pins.I2C_CLOCK}
    spare = {getattr(pins, "GNSS_TX", None)}
    assert set(pins.OUTPUTS_LOW) | set(pins.OUTPUTS_HIGH) == set(pulls) - bus - spare


def test_rp2_peripherals_reach_their_pins():
    pins = numbers(rp2_pins)
    for wanted in (RP2_SPI0, RP2_I2C0, RP2_UART0):
        assert not [name for name, reach in wanted.items() if pins[name] not in reach]
    assert pins["SUPPLY"] in RP2_ADC
    assert not ON_THE_BOARD_ITSELF & set(pins.values())
    assert max(pins.values()) <= 28


def test_rp2_pump_has_its_pwm_slice_for_itself():
    """A slice serves two pins, n and n + 16 alike: (n >> 1) & 7. None of them is PWM as well."""
    slice_of = {name: number >> 1 & 7 for name, number in numbers(rp2_pins).items()}
    assert [name for name, number in slice_of.items() if number == slice_of["PUMP"]
            and name not in ("PUMP", "SECTION_OFF", "TEST")] == []  # fmt: skip


def test_esp32_pins_can_do_what_they_are_for():
    pins = numbers(esp32_pins)
    used = set(pins.values())
    assert not used & (ESP32_FLASH | ESP32_CONSOLE | ESP32_RESET_LEVELS)
    outputs = {pins[name] for name, direction, *_ in WIRES if name in pins and direction != "in"}
    assert not outputs & ESP32_INPUT_ONLY
    assert pins["SUPPLY"] in ESP32_ADC1


def test_wiring_page_shows_the_present_pins():
    text = WIRING_MD.read_text(encoding="utf-8")
    assert with_tables(text) == text, "run make docs"


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
    outputs = {name for name, direction, *_ in WIRES if direction == "out"}
    assert set(held) == outputs - {"GNSS_TX"}  # which may stay open: nothing is sent


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
