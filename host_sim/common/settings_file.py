"""Settings as a file that people can read, edit, keep and compare.

TOML with one key for each row of the table of settings. A number is in the unit that the name
ends in, so that nothing is rounded on the way; a text with a unit (`rate_ml_ha = "20 gal/ac"`)
is understood too. It is the same in a file, in a scenario and in an option, whatever units are
chosen to be shown. What a file leaves out keeps its default.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import host_sim  # noqa: F401  (puts firmware/ on the path before the next imports)
from app import quantity_text, units_typed
from host_sim.common.errors import InputError, plain
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from rate_control import settings as table
from rate_control.procedures.keeping import changes
from rate_control.settings import Settings, build
from rate_control.settings_table import TABLE
from rate_control.settings_words import WORDS

ROWS: tuple[Any, ...] = TABLE

HEAD = """\
# Settings of the rate controller.
# A number is in the unit that its name ends in; the comment beside it shows it as the
# controller does. A text with a unit will do as well: rate_ml_ha = "20 gal/ac".
"""
# written with their unit, per litre and per metre, which loses nothing
WITH_UNIT = ("pulses_per_hl", "pulses_per_km")


@dataclass(frozen=True)
class Change:
    """One setting that two sets of settings do not share, as text."""

    name: str
    old: str
    new: str
    difference: str  # "-4.0 %", or empty where that says nothing


def to_toml(settings: Settings, us: bool) -> str:
    """The settings as the text of a file, with comments in the chosen units."""
    lines = [HEAD]
    for entry in ROWS:
        name = entry[table.NAME]
        value = getattr(settings, name)
        written = str(value)
        if quantity_text.of_setting(entry) in WITH_UNIT:
            written = f'"{show(entry, value, us=False)}"'
        shown = show(entry, value, us)
        comment = "" if shown in written else f"  # {shown}"
        lines.append("# " + "; ".join(WORDS[name]))
        lines.append(f"{name} = {written}{comment}")
    return "\n".join(lines) + "\n"


def load(path: Path) -> Settings:
    """The settings in a file.

    Raises InputError with a line for everything that is wrong: file, line, field.
    """
    source = TomlSource(path)
    problems: list[str] = []
    top = TomlTable(source, (), source.data, problems)
    values: dict[str, Any] = {}
    for entry in ROWS:
        name = entry[table.NAME]
        if name in top:
            try:
                values[name] = number(entry, top.any(name))
            except ValueError as error:
                top.refuse(name, str(error))
    top.finish()
    settings, faults = build(values)
    for fault in faults:
        name, _, message = fault.partition(": ")
        top.refuse(name, message)
    if problems:
        raise InputError(*problems)
    return settings


def with_changes(settings: Settings, texts: Sequence[str]) -> Settings:
    """The settings with changes from texts like `rate_ml_ha=20 gal/ac` or `us_units=1`.

    Raises InputError naming the setting.
    """
    values: dict[str, Any] = {}
    for text in texts:
        name, _, value = text.partition("=")
        entry = table.row(name)
        if entry is None or entry[table.COUNT] > 1:
            raise InputError(f"{text}: must be NAME=VALUE, with the name of a plain setting")
        try:
            values[name] = number(entry, value)
        except ValueError as error:
            raise InputError(f"{name}: {error}") from None
    changed, problems = build(values, settings)
    if problems:
        raise InputError(*problems)
    return changed


def number(entry: Any, given: Any) -> Any:
    """A given value with texts turned into numbers; everything else is for build() to judge.

    ValueError, in the unit that was typed, where a text means no number or one out of range.
    """
    if isinstance(given, list):
        return [number(entry, item) for item in given]
    if not isinstance(given, str):
        return given
    text = given.strip()
    unit = text.lstrip("+-.,0123456789").strip()
    quantity = quantity_text.of_setting(entry)
    if quantity and unit:
        return _with_unit(entry, quantity, text, unit)
    try:
        return int(text)
    except ValueError:
        own = entry[table.UNIT]
        hint = f" of {own}, or a number with its unit" if quantity and not unit else ""
        raise ValueError(f"'{plain(text)}': must be a whole number{hint}") from None


def _with_unit(entry: Any, quantity: str, text: str, unit: str) -> int:
    value: int = units_typed.from_text(quantity, text, False)
    if not entry[table.LOW] <= value <= entry[table.HIGH]:
        one = Fraction(*units_typed.exact(quantity, f"1 {unit}", False))
        low, high = (f"{float(entry[end] / one):.6g}" for end in (table.LOW, table.HIGH))
        raise ValueError(f"must be {low} to {high} {unit}, is {text}")
    return value


def show(entry: Any, value: Any, us: bool) -> str:
    """A setting as the controller shows it, lists with their unit at the end."""
    quantity = quantity_text.of_setting(entry)
    if not isinstance(value, list):
        bare = f"{value} {entry[table.UNIT]}" if entry[table.UNIT].isalpha() else str(value)
        return quantity_text.show(quantity, value, us) if quantity else bare
    shown = [quantity_text.show(quantity, item, us).split(" ", 1) for item in value]
    return ", ".join(number for number, _ in shown) + " " + shown[0][1]


def differences(old: Settings, new: Settings, us: bool) -> list[Change]:
    """What differs from old to new, in the order of the table."""
    found = {row[0]: row for row in changes(old, new.as_dict()) if row[1] != row[2]}
    rows = []
    for entry in ROWS:
        name = entry[table.NAME]
        if name in found:
            _, was, now, permille = found[name]
            share = "" if permille is None else quantity_text.show("share_permille", permille, us)
            rows.append(Change(name, show(entry, was, us), show(entry, now, us), share))
    return rows
