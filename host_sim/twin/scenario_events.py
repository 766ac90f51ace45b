"""The `[[event]]` tables of a scenario: what hands do, what breaks, and when."""

from __future__ import annotations

from typing import Any

from host_sim.common import units
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from host_sim.plant.units import ML_M3
from host_sim.twin.hands import Event
from rate_control.settings import number_problem, row
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

RATE_KEYS = {"rate_l_ha": False, "rate_gal_ac": True}  # key: whether US customary
ML_HA_PER_M = 1e10  # a rate in SI is a depth of liquid in metres

# Key: its words for a closed and for an open switch.
SWITCH_LEVELS = {"master": ("on", "off"), "implement": ("down", "up"), "switch": ("on", "off")}
SWITCH_WORDS = {
    ("master", "on"): "the master was switched on",
    ("master", "off"): "the master was switched off",
    ("implement", "down"): "the implement came down",
    ("implement", "up"): "the implement was lifted",
    ("switch", "on"): "section {} was switched on",
    ("switch", "off"): "section {} was switched off",
}
# Key: words for true and for false. The keys but the last are names of the plant's faults.
FLAG_FAULTS = {
    "meter_stalled": ("the flow meter stuck", "the flow meter came free"),
    "speed_lost": ("the speed sensor fell silent", "the speed sensor came back"),
    "gnss_lost": ("the GNSS receiver lost its fix", "the GNSS receiver found its fix"),
    "pump_dead": ("the pump lost its drive", "the pump got its drive back"),
    "cranking": ("the starter began to turn", "the starter stopped"),
    "program_stalled": ("the program hung", "the program went on"),
}
# Key: the plant's name, its unit over that of the key, words.
NUMBER_FAULTS = {
    "slip_pct": ("slip_share", 0.01, "the wheel slipped by {:g} %"),
    "supply_drop_v": ("supply_drop_v", 1.0, "the supply was {:g} V down"),
    "air_ml": ("air_m3", ML_M3, "{:g} mL of air was in the line"),
}


def read_events(
    source: TomlSource, tables: Any, section_count: int, problems: list[str]
) -> list[Event]:
    """The events in the order of the file; what is wrong with them goes to `problems`."""
    if not isinstance(tables, list):
        problems.append(source.problem(("event",), "events are written as [[event]]"))
        return []
    events = []
    for index, data in enumerate(tables):
        table = TomlTable(source, ("event", index), data, problems)
        event = _event(table, section_count)
        table.finish()
        if event:
            events.append(event)
    return events


def _event(table: TomlTable, section_count: int) -> Event | None:
    at_s, at_m = table.number("at_s"), table.number("at_m")
    if ("at_s" in table) == ("at_m" in table):
        table.refuse("", "needs one of at_s and at_m")
    note = table.text("note", "") or ""
    section = table.whole("section", 1, section_count)
    if ("section" in table) != ("switch" in table or "orifice_factor" in table):
        table.refuse("", "section goes together with switch or orifice_factor")
    words: list[str] = []
    on, off = _switches(table, section, words)
    rate_ml_ha = _rate(table, words)
    faults, stalled = _faults(table, words)
    orifices = _orifices(table, section, words)
    if not words:
        table.refuse("", "does nothing: give a switch, a rate or a fault")
        return None
    return Event(" and ".join(words), note, at_s, at_m, on, off, rate_ml_ha, faults, orifices,
                 stalled)


def _switches(table: TomlTable, section: int | None, words: list[str]) -> tuple[int, int]:
    """Bits of the switches to close and to open."""
    on = off = 0
    section_bit = 1 << SWITCH_SECTION_SHIFT + section - 1 if section else 0
    bits = {"master": SWITCH_MASTER, "implement": SWITCH_IMPLEMENT, "switch": section_bit}
    for key, (closed, opened) in SWITCH_LEVELS.items():
        level = table.choice(key, (closed, opened))
        if not level or not bits[key]:
            continue
        words.append(SWITCH_WORDS[key, level].format(section))
        if level == closed:
            on |= bits[key]
        else:
            off |= bits[key]
    return on, off


def _rate(table: TomlTable, words: list[str]) -> int | None:
    """The rate in mL/ha, from whichever key gives it."""
    given = {key: table.number(key) for key in RATE_KEYS}
    values = {key: value for key, value in given.items() if value is not None}
    if not values:
        return None
    key, value = values.popitem()
    if values:
        table.refuse(key, "a rate is given already")
    depth_m = units.from_shown("rate_ml_ha", value, RATE_KEYS[key])
    rate_ml_ha = round(depth_m * ML_HA_PER_M)
    fault = number_problem(row("rate_ml_ha"), rate_ml_ha)
    if fault:
        table.refuse(key, fault)
        return None
    words.append(rate_words(depth_m))
    return rate_ml_ha


def rate_words(depth_m: float) -> str:
    """That the application rate was set to this, in both systems of units."""
    both = [units.text("rate_ml_ha", depth_m, us) for us in (False, True)]
    return "the rate was set to {} ({})".format(*both)


def _faults(table: TomlTable, words: list[str]) -> tuple[dict[str, float], bool | None]:
    """Values of the plant's faults by name, and whether the program stalls (None: as it was)."""
    values: dict[str, float] = {}
    for key, (came, went) in FLAG_FAULTS.items():
        flag = table.flag(key)
        if flag is not None:
            values[key] = flag
            words.append(came if flag else went)
    for key, (name, unit, text) in NUMBER_FAULTS.items():
        number = table.number(key)
        if number is not None:
            values[name] = number * unit
            words.append(text.format(number))
    stalled = values.pop("program_stalled", None)
    return values, None if stalled is None else bool(stalled)


def _orifices(table: TomlTable, section: int | None, words: list[str]) -> dict[int, float]:
    factor = table.number("orifice_factor")
    if factor is None or not section:
        return {}
    words.append(f"the outlets of section {section} passed {100 * factor:g} % of new ones")
    return {section - 1: factor}
