"""A setting as a person writes it, and the whole number inside, exactly there and back.

A text with a unit is read in that unit; a bare number in the unit of the chosen system that
people see. Nothing internal is written: no mL/ha, no pulses in 100 L.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import host_sim  # noqa: F401  (puts firmware/ on the path before the next imports)
from app import quantity_text, units_text, units_typed
from app.quantity_text import choices
from host_sim.common import units
from host_sim.common.errors import InputError, plain
from host_sim.machine_file.homes import ROWS, key_of, named
from rate_control import settings as table
from rate_control.intmath import divide_rounded
from rate_control.procedures.keeping import changes
from rate_control.settings import Settings, build

# the internal units of settings that people see in a unit of another size
_SCALED = {"s": ("time_ms", 1000)}
# "50 to 20000 mm, is 0", "at most 40000 mm, are 45000" or "120000 mL/ha", as build() says it
_AMOUNTS = re.compile(r"(?:(\d+)( to ))?(\d+) ("
                      + "|".join(map(re.escape, quantity_text.QUANTITY_OF_UNIT))
                      + r")(?!\w)(?:(, (?:is|are) )(-?\d+))?")


@dataclass(frozen=True)
class Change:
    """One setting that two sets of settings do not share, as text."""

    name: str
    old: str
    new: str
    difference: str  # "-4.0 %", or empty where that says nothing


def _quantity(entry: Any) -> tuple[str, int]:
    """The quantity of a row in the table of units, and its unit over the one of the table."""
    return _SCALED.get(entry[table.UNIT]) or (quantity_text.of_setting(entry), 1)


def read(entry: Any, given: Any, us: bool) -> Any:
    """The whole number that a value of a file or an option means; a list where the row is one.

    ValueError, in the unit that was typed, where it means none or one out of range.
    """
    if entry[table.COUNT] == 1:
        return _read_one(entry, given, us)
    if not isinstance(given, list):
        raise ValueError("must be a list, as " + written_example(entry, us))
    values = []
    for index, item in enumerate(given):
        try:
            values.append(_read_one(entry, item, us))
        except ValueError as error:
            raise ValueError(f"number {index + 1}: {error}") from None
    return values


def _read_one(entry: Any, given: Any, us: bool) -> int:
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise ValueError(f"must be a number or a text in quotes, is {plain(given)}")
    text = (given if isinstance(given, str) else format(Decimal(repr(given)), "f")).strip()
    words = choices(entry)
    if words:
        return _choice(words, entry, text)
    quantity, scale = _quantity(entry)
    if quantity:
        return units.whole(quantity, text, us, entry[table.LOW], entry[table.HIGH], scale)
    return _count(entry, text)


def _choice(words: Sequence[str], entry: Any, text: str) -> int:
    for value, word in enumerate(words):
        if word.lower() == text.lower():
            return int(entry[table.LOW]) + value
    raise ValueError(f"must be {' or '.join(words)}, is '{plain(text)}'")


def _count(entry: Any, text: str) -> int:
    unit = entry[table.UNIT] if entry[table.UNIT].isalpha() else ""
    digits = text.removesuffix(unit).rstrip() if unit else text
    try:
        value = int(digits)
    except ValueError:
        words = f" of {unit}" if unit else ""
        raise ValueError(f"must be a whole number{words}, is '{plain(text)}'") from None
    if not entry[table.LOW] <= value <= entry[table.HIGH]:
        span = f"{entry[table.LOW]} to {entry[table.HIGH]} {unit}".rstrip()
        raise ValueError(f"must be {span}, is {plain(text)}")
    return value


def write(entry: Any, value: Any, us: bool) -> Any:
    """What to write into a file: a text with a unit, a word, a count, or a list of texts.

    It has as few decimals as lead back to the very same number.
    """
    if isinstance(value, list):
        return [write(entry, item, us) for item in value]
    words = choices(entry)
    if words:
        return words[value - entry[table.LOW]]
    quantity, scale = _quantity(entry)
    if not quantity:
        return value
    decimals = 0
    while True:
        number = units_text.pointed(
            units_text.steps_of(quantity, value * scale, us, decimals), decimals)
        numerator, denominator = units_typed.exact(quantity, number, us)
        if divide_rounded(numerator, denominator * scale) == value:
            return f"{number} {units_text.unit(quantity, us)}"
        decimals += 1


def written_example(entry: Any, us: bool) -> str:
    """How a setting is written, by its default: `"100 L/ha"`, `["1 m", ...]`."""
    text = write(entry, table.default_value(entry), us)
    if isinstance(text, list):
        return f'["{text[0]}", "{text[1]}", ...]'
    return f'"{text}"' if isinstance(text, str) else str(text)


def show(entry: Any, value: Any, us: bool) -> str:
    """A setting as the controller shows it, lists with their unit at the end."""
    if isinstance(value, list):
        shown = [show(entry, item, us).split(" ", 1) for item in value]
        return ", ".join(number for number, _ in shown) + " " + shown[0][1]
    words = choices(entry)
    if words and 0 <= value - entry[table.LOW] < len(words):
        return str(words[value - entry[table.LOW]])
    quantity, scale = _quantity(entry)
    if quantity and scale == 1:
        return str(quantity_text.show(quantity, value, us))
    return f"{value} {entry[table.UNIT]}" if entry[table.UNIT].isalpha() else str(value)


def with_changes(settings: Settings, texts: Sequence[str], us: bool) -> Settings:
    """The settings with changes from texts like `rate=20 gal/ac`.

    Raises InputError naming the setting.
    """
    values: dict[str, Any] = {}
    for text in texts:
        typed, _, value = text.partition("=")
        name = named(typed.strip())
        entry = table.row(name) if name else None
        if entry is None or entry[table.COUNT] > 1:
            raise InputError(f"{text}: must be NAME=VALUE, with the name of a plain setting, "
                             "such as rate='20 gal/ac'")
        try:
            values[entry[table.NAME]] = read(entry, value, us)
        except ValueError as error:
            raise InputError(f"{typed}: {error}") from None
    changed, problems = build(values, settings)
    if changed is None:
        raise InputError(*(in_keys(problem, us) for problem in problems))
    return changed


def in_keys(problem: str, us: bool) -> str:
    """A line of `build()` with names and amounts as a machine file has them."""
    for entry in sorted(ROWS, key=lambda row: -len(row[table.NAME])):
        problem = problem.replace(entry[table.NAME], key_of(entry[table.NAME]))

    def shown(found: re.Match[str]) -> str:
        quantity = quantity_text.QUANTITY_OF_UNIT[found[4]]
        parts = [part and (units_text.with_unit(quantity, int(part), us)
                           if part.lstrip("-").isdecimal() else part)
                 for part in found.group(1, 2, 3, 5, 6)]
        return "".join(filter(None, parts))

    return _AMOUNTS.sub(shown, problem)


def differences(old: Settings, new: Settings, us: bool) -> list[Change]:
    """What differs from old to new, in the order of the table."""
    found = {row[0]: row for row in changes(old, new.as_dict()) if row[1] != row[2]}
    widths = "section_width_mm"
    if widths in found:  # those of sections that are not fitted are nobody's
        was, now = old.widths_mm(), new.widths_mm()
        found[widths] = (widths, was, now, None)
        if was == now:
            del found[widths]
    rows = []
    for entry in ROWS:
        name = entry[table.NAME]
        if name in found:
            _, was, now, permille = found[name]
            blank = permille is None or choices(entry)
            share = "" if blank else quantity_text.show("share_permille", permille, us)
            rows.append(Change(key_of(name), show(entry, was, us), show(entry, now, us), share))
    return rows
