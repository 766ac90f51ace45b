"""The settings of the controller in a run, those that are calibrated apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from host_sim.machine_file.homes import ROWS, key_of
from host_sim.machine_file.values import show
from rate_control.settings import NAME
from rate_control.settings_words import MEANING, WORDS

# What a calibration gives, by measuring the machine; the rest is entered or a matter of taste.
CALIBRATED = (
    "section_width_mm", "speed_pulses_km", "meter_pulses_hl", "meter_droop_ul_s",
    "curve_flow_ul_s", "curve_duty_u16", "curve_gap_u16", "curve_pressure_u16",
    "curve_density_g_l", "curve_supply_mv", "valve_travel_ms", "valve_min_pulse_ms",
    "valve_lost_ms", "valve_play_ms", "loop_delay_ms", "loop_lag_ms", "look_ahead_ms",
)
VALVE = "valve_"  # of these there is nothing to say where a pump is driven

Row = tuple[str, str, str]  # key in a machine file, value with its unit, meaning


def settings_used(values: dict[str, Any], us: bool) -> Iterator[Row]:
    """Every setting of the run, in the order of the table."""
    for entry in ROWS:
        if entry[NAME] in values:
            yield _row(entry, values, us)


def _row(entry: Any, values: dict[str, Any], us: bool) -> Row:
    name = str(entry[NAME])
    return key_of(name), show(entry, values[name], us), str(WORDS[name][MEANING])


def calibration_used(values: dict[str, Any], us: bool) -> list[Row]:
    """Those that were learned from the machine or measured on it."""
    pump = not values.get("actuator")
    fitted = fitted_widths(values)
    return [_row(entry, fitted, us) for entry in ROWS
            if entry[NAME] in fitted and entry[NAME] in CALIBRATED
            and not (pump and entry[NAME].startswith(VALVE))]


def fitted_widths(values: dict[str, Any]) -> dict[str, Any]:
    """The settings without the widths of sections that are not fitted."""
    widths, count = values.get("section_width_mm"), values.get("section_count")
    if not isinstance(widths, list) or not count:
        return values
    return values | {"section_width_mm": widths[:count]}
