"""The settings files that came before machine files: each setting under its own name.

    speed_pulses_km = 131234  # 131.234 pulses/m

A number is in the unit that the name ends in; a text with a unit will do as well. A calibration in
such a file is kept: `settings export --from` makes a machine file of it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from app import quantity_text
from host_sim.common.errors import InputError
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from rate_control.settings import Settings, build, row


def is_earlier(data: Any) -> bool:
    """Whether a document names a setting where a machine file has its tables."""
    return isinstance(data, dict) and any(row(name) is not None for name in data)


def load_earlier(path: Path) -> Settings:
    """The settings in a file; what it leaves out keeps its default.

    Raises InputError with a line for everything that is wrong: file, line, name.
    """
    source = TomlSource(path)
    problems: list[str] = []
    top = TomlTable(source, (), source.data, problems)
    given = top.values()
    if not is_earlier(given):
        raise InputError(f"{path}: is no settings file of an earlier version")
    values: dict[str, Any] = {}
    us = given.get("us_units") == 1
    for name, value in given.items():
        if row(name) is None:
            top.refuse(name, "there is no such setting")
            continue
        try:
            values[name] = _number(row(name), value, us)
        except ValueError as error:
            top.refuse(name, str(error))
    settings, faults = build(values)
    for fault in faults:
        name, _, message = fault.partition(": ")
        top.refuse(name, message)
    if problems or settings is None:
        raise InputError(*problems)
    return settings


def _number(entry: Any, given: Any, us: bool) -> Any:
    """A given value with texts turned into numbers; everything else is for build() to judge."""
    if isinstance(given, list):
        return [_number(entry, item, us) for item in given]
    if isinstance(given, str):
        return quantity_text.read(quantity_text.of_setting(entry), given, us)
    return given
