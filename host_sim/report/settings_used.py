"""The settings of the controller in a run, those that are calibrated apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from app.quantity_text import choices
from host_sim.machine_file.homes import FITTED, LEARNED, ROWS, key_of, place_of
from host_sim.machine_file.values import show
from rate_control.settings import NAME
from rate_control.settings_table import MEANING

VALVE = "valve_"  # of these there is nothing to say where a pump is driven

Row = tuple[str, str, str]  # key in a machine file, value with its unit, meaning


def settings_used(values: dict[str, Any], us: bool) -> Iterator[Row]:
    """Every setting of the run, in the order of the table."""
    for entry in ROWS:
        if entry[NAME] in values:
            yield _row(entry, values, us)


def _row(entry: Any, values: dict[str, Any], us: bool) -> Row:
    name = str(entry[NAME])
    return key_of(name), show(entry, values[name], us), str(entry[MEANING])


def calibration_used(values: dict[str, Any], us: bool) -> list[Row]:
    """Those that were learned from the machine or measured on it."""
    pump = not values.get("actuator")
    fitted = fitted_widths(values)
    return [_row(entry, fitted, us) for entry in ROWS
            if entry[NAME] in fitted and _is_calibrated(entry)
            and not (pump and entry[NAME].startswith(VALVE))]


def _is_calibrated(entry: Any) -> bool:
    """Whether it was measured on the machine; the rest is entered or a matter of taste."""
    return place_of(entry)[0] in (FITTED, LEARNED) and not choices(entry)


def fitted_widths(values: dict[str, Any]) -> dict[str, Any]:
    """The settings without the widths of sections that are not fitted."""
    widths, count = values.get("section_width_mm"), values.get("section_count")
    if not isinstance(widths, list) or not count:
        return values
    return values | {"section_width_mm": widths[:count]}
