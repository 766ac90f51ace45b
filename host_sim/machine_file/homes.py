"""Where each setting of the controller stands in a machine file, and under which key.

A setting that is not named here is in [settings], under its name without the unit: a new row of
the table of settings is in the file without a change here.
"""

from __future__ import annotations

from typing import Any

import host_sim  # noqa: F401  (puts firmware/ on the path before the next imports)
from app.quantity_text import in_words
from host_sim.common.reading import Where
from rate_control.settings_table import TABLE

ROWS: tuple[Any, ...] = TABLE

FITTED, SETTINGS, LEARNED, WANTED, TWIN = "fitted", "settings", "learned", "wanted", "twin"

# The units of the file are a key of its own, and the sections are counted from their widths.
NO_HOME = {"us_units": "units", "section_count": "section_count"}

_HOMES: dict[str, Where] = {
    "section_width_mm": (FITTED, "section_widths"),
    "actuator": (FITTED, "actuator"),
    "speed_source": (FITTED, "speed_source"),
    "implement_open_is_down": (FITTED, "implement_down_is"),
    "valve_travel_ms": (FITTED, "valve_travel"),
    "valve_min_pulse_ms": (FITTED, "valve_min_pulse"),
    "speed_pulses_km": (LEARNED, "speed_sensor", "pulses"),
    "meter_pulses_hl": (LEARNED, "meter", "k_factor"),
    "meter_droop_ul_s": (LEARNED, "low_flow", "droop"),
    "curve_flow_ul_s": (LEARNED, "pump_curve", "flow"),
    "curve_duty_u16": (LEARNED, "pump_curve", "duty"),
    "curve_gap_u16": (LEARNED, "pump_curve", "gap"),
    "curve_pressure_u16": (LEARNED, "pump_curve", "pressure"),
    "curve_share_ul_s": (LEARNED, "pump_curve", "share"),
    "curve_density_g_l": (LEARNED, "pump_curve", "density"),
    "curve_supply_mv": (LEARNED, "pump_curve", "supply"),
    "valve_lost_ms": (LEARNED, "pump_curve", "valve_lost"),
    "valve_play_ms": (LEARNED, "pump_curve", "valve_play"),
    "loop_delay_ms": (LEARNED, "step_test", "delay"),
    "loop_lag_ms": (LEARNED, "step_test", "lag"),
    "look_ahead_ms": (LEARNED, "step_test", "look_ahead"),
}

# What a data sheet says of a part; what was learned of it goes before.
FROM_DATA_SHEET: dict[str, Where] = {
    "speed_pulses_km": (FITTED, "speed_sensor"),
    "meter_pulses_hl": (FITTED, "meter"),
}


def plain_name(name: str) -> str:
    """The name of a setting without its unit: `rate` for `rate_ml_ha`."""
    return str(in_words(name)).replace(" ", "_")


def _home(name: str) -> Where:
    return _HOMES.get(name) or (SETTINGS, plain_name(name))


HOMES: dict[str, Where] = {
    entry[0]: _home(entry[0]) for entry in ROWS if entry[0] not in NO_HOME
}
NAMES: dict[Where, str] = {place: name for name, place in HOMES.items()}
GROUPS: tuple[str, ...] = tuple(dict.fromkeys(
    str(place[1]) for place in HOMES.values() if place[0] == LEARNED))


def key_of(name: str) -> str:
    """The place of a setting as a person reads it: `settings.rate`."""
    return ".".join(map(str, HOMES.get(name, (NO_HOME.get(name, plain_name(name)),))))


def named(typed: str) -> str | None:
    """The setting that a typed name means: `settings.rate` or, where only one has it, `rate`.

    None where there is no such setting.
    """
    exact = [name for name, place in HOMES.items() if ".".join(map(str, place)) == typed]
    last = [name for name, place in HOMES.items() if typed in (place[-1], plain_name(name))]
    found = exact or last
    return found[0] if len(found) == 1 else None
