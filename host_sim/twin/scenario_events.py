"""The `[[event]]` tables of a scenario: what hands do, what breaks, and when.

An amount is a text with its unit (`rate = "95 L/ha"`), or a number under a key that ends in it
(`rate_l_ha = 95`).
"""

from __future__ import annotations

import re
from typing import Any

from host_sim.common import units
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from host_sim.twin.disturbances import FLAG, TABLE, VALVE_WORDS, Disturbance
from host_sim.twin.hands import Event
from rate_control.settings import HIGH, LOW, row
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

RATE_NUMBERS = {"rate_l_ha": units.parse("rate_ml_ha", "1 L/ha", False),
                "rate_gal_ac": units.parse("rate_ml_ha", "1 gal/ac", True)}
PLOT_RATE_NUMBERS = {f"plot_{key}": factor for key, factor in RATE_NUMBERS.items()}
_KEY = re.compile(r"(push|back)|(turn) (-?[0-9]{1,2})")
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
TURN_MAX_DEG = 720.0
RADIUS_MAX_M = 1000.0
RADIUS_M = 4.0  # where an event says nothing of it
STALLED_WORDS = "the program hung", "the program went on"
BEYOND_ML_HA = 1e12  # any rate; above, a number may become infinite


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
    if "at" in table:
        at_s, at_m = _at(table)
    if sum(key in table for key in ("at", "at_s", "at_m")) != 1:
        table.refuse("", "needs one of at, at_s and at_m")
    note = table.text("note", "") or ""
    section = table.whole("section", 1, section_count)
    if ("section" in table) != any(key in table for key in ("switch", "orifice_factor", "valve")):
        table.refuse("", "section goes together with switch, orifice_factor or valve")
    words: list[str] = []
    on, off = _switches(table, section, words)
    rate_ml_ha = _rate(table, words)
    faults = _faults(table, words)
    orifices = _orifices(table, section, words)
    valves = _valves(table, section, words)
    stalled = table.flag("program_stalled")
    if stalled is not None:
        words.append(STALLED_WORDS[not stalled])
    turn_deg, radius_m = _turn(table, words)
    keys = _keys(table, words)
    plot_ml_ha = _plot_rate(table, words)
    power_cut = table.flag("power_cut")
    if power_cut:
        words.append("the power was cut and came back")
    over_s = _over(table, faults, orifices, words)
    if not words:
        table.refuse("", "does nothing: give a switch, a rate, a turn or a disturbance")
        return None
    return Event(" and ".join(words), note, at_s, at_m, on, off, rate_ml_ha, faults, orifices,
                 valves, over_s, stalled, turn_deg, radius_m, keys, plot_ml_ha, bool(power_cut))


def _keys(table: TomlTable, words: list[str]) -> tuple[tuple[str, int], ...]:
    """What is done at the front panel: "push, turn 7, back"."""
    text = table.text("keys") if "keys" in table else None
    if text is None:
        return ()
    found = []
    for part in text.split(","):
        match = _KEY.fullmatch(part.strip())
        if not match:
            table.refuse("keys", f"must be push, back or turn with notches, as in 'push, turn 2', "
                                 f"is '{text}'")
            return ()
        found.append((match[1] or match[2], int(match[3] or 1)))
    words.append(f"at the panel: {text}")
    return tuple(found)


def _plot_rate(table: TomlTable, words: list[str]) -> int | None:
    """What the ground is to get from here on, whatever the controller is set to; it may be 0."""
    amount = _amount(table, "plot_rate", "rate_ml_ha", PLOT_RATE_NUMBERS)
    if amount is None:
        return None
    rate_ml_ha = round(amount[1] * ML_HA_PER_M)
    if rate_ml_ha > row("rate_ml_ha")[HIGH]:
        table.refuse(amount[0], "is more than any controller takes")
    words.append("the ground is to get {} ({}) from here".format(
        *(units.text("rate_ml_ha", amount[1], us) for us in (False, True))))
    return rate_ml_ha


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
    amount = _amount(table, "rate", "rate_ml_ha", RATE_NUMBERS)
    if amount is None:
        return None
    key, depth_m = amount
    rate_ml_ha = round(max(-BEYOND_ML_HA, min(depth_m * ML_HA_PER_M, BEYOND_ML_HA)))
    entry = row("rate_ml_ha")
    if not entry[LOW] <= rate_ml_ha <= entry[HIGH]:
        us = "gal/ac" in f"{key} {table.any(key)}".replace("_", "/")
        low, high, given = (units.text("rate_ml_ha", value / ML_HA_PER_M, us)
                            for value in (entry[LOW], entry[HIGH], rate_ml_ha))
        table.refuse(key, f"must be {low} to {high}, is {given}")
        return None
    words.append(rate_words(depth_m))
    return rate_ml_ha


def _amount(table: TomlTable, name: str, quantity: str,
            keys: dict[str, float]) -> tuple[str, float] | None:
    """The key that gives an amount, and the amount in SI, where one does.

    `keys` are those of plain numbers, each with its unit in SI.
    """
    found = {key: value * factor for key, factor in keys.items()
             if (value := table.number(key)) is not None}
    text = table.text(name, "") if name in table else ""
    if text:
        try:
            found[name] = units.parse_with_unit(quantity, text)
        except ValueError as error:
            table.refuse(name, str(error))
    if not found:
        return None
    if len(found) > 1:
        table.refuse(next(iter(found)), f"a {name.replace('_', ' ')} is given already")
    key, value = found.popitem()
    if value < 0:
        table.refuse(key, "must not be below zero")
        return None
    return key, value


def _at(table: TomlTable) -> tuple[float | None, float | None]:
    """Time or distance of `at`: "5 s" or "180 m"."""
    text = table.text("at") or ""
    for quantity in ("time_ms", "distance_mm"):
        try:
            value = units.parse_with_unit(quantity, text)
        except ValueError:
            continue
        if value < 0:
            table.refuse("at", f"must be at least 0, is {text}")
        return (value, None) if quantity == "time_ms" else (None, value)
    if text:
        table.refuse("at", f"must be a time or a distance like '5 s', '180 m' or '600 ft', "
                           f"is '{text}'")
    return None, None


def rate_words(depth_m: float) -> str:
    """That the application rate was set to this, in both systems of units."""
    both = [units.text("rate_ml_ha", depth_m, us) for us in (False, True)]
    return "the rate was set to {} ({})".format(*both)


def _turn(table: TomlTable, words: list[str]) -> tuple[float, float]:
    """By how much the machine turns, and on which radius."""
    turn_deg = table.number("turn_deg", -TURN_MAX_DEG)
    radius = _amount(table, "radius", "distance_mm", {"radius_m": 1.0})
    radius_m = radius[1] if radius else RADIUS_M
    if turn_deg is None:
        if radius:
            table.refuse(radius[0], "goes together with turn_deg")
        return 0.0, 0.0
    if not 0 < abs(turn_deg) <= TURN_MAX_DEG:
        table.refuse("turn_deg", f"must be up to {TURN_MAX_DEG:g} to the right, or to the left "
                                 f"with a minus, and not 0; is {turn_deg:g}")
    if not 0.1 <= radius_m <= RADIUS_MAX_M:
        table.refuse(radius[0] if radius else "",
                     f"must be 0.1 m to {RADIUS_MAX_M:g} m, is {radius_m:g} m")
    side = "left" if turn_deg < 0 else "right"
    words.append(f"the machine turned by {abs(turn_deg):g} degrees to the {side}, on a radius of "
                 f"{radius_m:g} m")
    return turn_deg, radius_m


def _faults(table: TomlTable, words: list[str]) -> dict[str, float]:
    """Amounts of the plant's faults by name."""
    values: dict[str, float] = {}
    for entry in TABLE:
        value = _disturbance(table, entry)
        if value is None:
            continue
        values[entry.name] = value
        if entry.quantity == FLAG:
            words.append(entry.words[not value])
        else:
            words.append(entry.words[0].format(round(value * entry.shown, 6)))
    return values


def _disturbance(table: TomlTable, entry: Disturbance) -> float | None:
    """How much of it an event asks for, in SI, where it does."""
    if entry.quantity == FLAG:
        return table.flag(entry.key)
    if entry.quantity is None:
        return table.number(entry.key)
    amount = _amount(table, entry.key, entry.quantity, entry.numbers)
    return None if amount is None else amount[1]


def _valves(table: TomlTable, section: int | None, words: list[str]) -> dict[int, str]:
    what = table.choice("valve", tuple(VALVE_WORDS))
    if what is None or not section:
        return {}
    words.append(VALVE_WORDS[what][1].format(section))
    return {section - 1: what}


def _over(table: TomlTable, faults: dict[str, float], orifices: dict[int, float],
          words: list[str]) -> float:
    """The time within which amounts come, 0 for at once."""
    amount = _amount(table, "over", "time_ms", {"over_s": 1.0})
    if amount is None:
        return 0.0
    key, over_s = amount
    if not orifices and all(isinstance(value, bool) for value in faults.values()):
        table.refuse(key, "goes together with an amount that a disturbance comes to")
    elif words:
        words[-1] += f", within {over_s:g} s"
    return over_s


def _orifices(table: TomlTable, section: int | None, words: list[str]) -> dict[int, float]:
    factor = table.number("orifice_factor")
    if factor is None or not section:
        return {}
    words.append(f"the outlets of section {section} passed {100 * factor:g} % of new ones")
    return {section - 1: factor}
