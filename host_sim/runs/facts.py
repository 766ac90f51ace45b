"""Whether the numbers and facts of a run that came from a file can be those of a run.

A file is kept for years, is edited, copied in part and written by other programs. Reports and
records are made of runs that passed here, so nothing behind has to ask again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

import numpy as np

from host_sim.runs.record import Column
from rate_control import trace
from rate_control.interlock import STATE_NAMES
from rate_control.settings import NAME, value_problem
from rate_control.settings_table import TABLE
from rate_control.units import MAX_SECTIONS, WIDTH_MAX_MM

LARGEST = 1e12  # of any figure; a count of 32 bits is below it
TIME_MAX_S = 1e8  # three years
WAY_MAX_M = 1e7  # a quarter around the earth
YEARS = range(1980, 2200)
NEVER_NEGATIVE = {"switches", "speed_mm_s", "distance_mm", "flow_ul_s", "volume_ul", "section_mask",
                  "width_mm"}
UNKNOWN = ("true_pressure_bar",)  # no board measures it, so it may be no number
SHORTEST = 2  # rows: there is nothing between a single one and the next
NEEDED_SETTINGS = ("meter_pulses_hl", "speed_pulses_km")

Check = Callable[[Any], bool]


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _flag(value: Any) -> bool:
    return isinstance(value, bool)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= LARGEST


def _amount(value: Any) -> bool:
    return _number(value) and value >= 0


def _count(value: Any) -> bool:
    return isinstance(value, int) and _amount(value)


def _width(value: Any) -> bool:
    return _amount(value) and 0 < value <= WIDTH_MAX_MM / 1000


def is_moment(value: Any) -> bool:
    """Whether a text names a moment, with its time zone, at which a run can have been made."""
    try:
        moment = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        return False
    return moment.year in YEARS and moment.utcoffset() is not None


def _latitude(value: Any) -> bool:
    return _number(value) and abs(value) <= 90


def _longitude(value: Any) -> bool:
    return _number(value) and abs(value) <= 180


def _anything(_: Any) -> bool:
    return True


def _list_of(check: Check, least: int = 0, most: int = 10**6) -> Check:
    return lambda value: (isinstance(value, list) and least <= len(value) <= most
                          and all(check(item) for item in value))


def _table_of(check: Check) -> Check:
    return lambda value: isinstance(value, dict) and all(check(item) for item in value.values())


def _table_with(**checks: Check) -> Check:
    return lambda value: isinstance(value, dict) and all(
        name in value and check(value[name]) for name, check in checks.items())


_EVENT = _table_with(time_s=_amount, distance_m=_number, who=_text, words=_text, note=_text)

# Fact: whether every run has it, what it must be in words, and the check.
FACTS: dict[str, tuple[bool, str, Check]] = {
    "title": (True, "a text", _text),
    "section_width_m": (True, f"a list of 1 to {MAX_SECTIONS} widths in m",
                        _list_of(_width, 1, MAX_SECTIONS)),
    "settings": (True, "a table", _table_of(_anything)),
    "events": (True, "a list of tables with time_s, distance_m, who, words and note",
               _list_of(_EVENT)),
    "controller_volume_l": (True, "a number from 0 on", _amount),
    "controller_area_ha": (True, "a number from 0 on", _amount),
    "machine": (True, "a table with a text kind", _table_with(kind=_text)),
    "speed_trace": (True, "a table with texts name and note",
                    _table_with(name=_text, note=_text)),
    "seed": (True, "a whole number, or none",
             lambda value: value is None or _count(value)),
    "versions": (True, "a table of texts", lambda value: bool(value) and _table_of(_text)(value)),
    "field": (False, "a text", _text),
    "place": (False, "a table with numbers latitude_deg and longitude_deg",
              _table_with(latitude_deg=_latitude, longitude_deg=_longitude)),
    "measured": (False, "true or false", _flag),
    "simulated": (False, "true or false", _flag),
    "board": (False, "a table of texts", _table_of(_text)),
    "started": (False, f"a list of moments from {YEARS[0]} to {YEARS[-1]} with their time zone",
                _list_of(is_moment)),
    "gaps_s": (False, "a list of numbers", _list_of(_number)),
    "damaged_lines": (False, "a whole number", _count),
    "cut_off": (False, "a text", _text),
    "missed_events": (False, "a list of texts", _list_of(_text)),
    "resets": (False, "a list of texts", _list_of(_text)),
    "settings_changed": (False, "a list of texts", _list_of(_text)),
    "notes": (False, "a list of texts", _list_of(_text)),
}


def facts_problem(about: Any) -> str:
    """What is wrong with the facts of a run, `about.seed: must be ...`, empty for nothing."""
    if not isinstance(about, dict):
        return "about: is missing"
    for name, (needed, words, check) in FACTS.items():
        if name not in about:
            if needed:
                return f"about.{name}: is missing"
        elif not check(about[name]):
            return f"about.{name}: must be {words}"
    return settings_problem(about["settings"], "about.settings.")


def settings_problem(values: Mapping[str, Any], place: str) -> str:
    """What is wrong with the settings of a run, which may be those of an older firmware."""
    for name in NEEDED_SETTINGS:
        if name not in values:
            return f"{place}{name}: is missing"
    rows: tuple[Any, ...] = TABLE
    for row in rows:
        name = row[NAME]
        problem = value_problem(row, values[name]) if name in values else ""
        if problem:
            return f"{place}{name}: {problem}"
    return ""


def columns_problem(columns: Mapping[str, Column]) -> tuple[int, str] | None:
    """The first row, from 0 on, that cannot be one of a run, and what is wrong with it."""
    if len(columns["time_s"]) < SHORTEST:
        return 0, f"is the only one; a run needs at least {SHORTEST} moments"
    bad: list[tuple[int, str]] = []
    for name, column in columns.items():
        known = name not in UNKNOWN
        low, high = _limits(name)
        with np.errstate(invalid="ignore"):
            wrong = ~((column >= low) & (column <= high))
            if name in trace.FIELDS or name == "hand_switches":
                wrong |= column != np.floor(column)
        if not known:
            wrong &= ~np.isnan(column)
        if wrong.any():
            row = int(np.argmax(wrong))
            bad.append((row, f"{name}: cannot be {column[row]:g}"))
    for name in ("time_s", "true_distance_m"):
        back = np.diff(columns[name]) < 0
        if back.any():
            bad.append((int(np.argmax(back)) + 1, f"{name}: runs backwards"))
    return min(bad) if bad else None


def _limits(name: str) -> tuple[float, float]:
    """The lowest and the highest that a column can hold."""
    if name == "time_s":
        return 0.0, TIME_MAX_S
    if name == "true_distance_m":
        return 0.0, WAY_MAX_M
    if name == "state":
        return 0.0, len(STATE_NAMES) - 1.0
    if name in NEVER_NEGATIVE:
        return 0.0, 2.0**31 - 1
    if name in trace.FIELDS or name == "hand_switches":
        return -(2.0**31), 2.0**31 - 1
    return -LARGEST, LARGEST
