"""Writes machine files: a new one, or new values into one that a person has made their own.

Comments, order and everything else of a file stay as they are. What is about to be written is
read back first: a file that would not mean what was asked is never written.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable, Item

from host_sim.common.errors import InputError
from host_sim.common.output import write_files
from host_sim.common.reading import Where
from host_sim.common.units import system
from host_sim.machine_file import values as texts
from host_sim.machine_file.homes import (
    FITTED,
    HOMES,
    LEARNED,
    NO_HOME,
    ROWS,
    SETTINGS,
    WANTED,
    key_of,
)
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.sizing.fields import FIELDS
from rate_control.settings import NAME, Settings, build, row
from rate_control.settings_table import ADVICE, MEANING
from rate_control.units import PWM_PUMP

HEAD = """\
# A machine file: docs/reference/machine_file.md describes every key.
# A number with a unit is read in that unit, a bare one in the units below: "metric" or "us".
"""
TABLE_HEADS = {
    WANTED: "What the machine is to do: rates, and the slowest and the fastest speed.",
    FITTED: "What is on the machine, by tape and data sheet.",
    SETTINGS: "How the controller is to work with it.",
}
BESIDE = ".before"  # ends the name of the copy of what a file held
LONG_LIST = 4
VALVE = "valve_"  # of these there is nothing to say where a pump is driven


def new_text(title: str, us: bool, settings: Settings, fields: Mapping[str, Any] | None = None,
             how: str = "") -> str:
    """A new machine file: settings, and texts of the fields of `size` by name.

    What was learned is written where it is not a default, with `how` it was come by.
    """
    given = dict(fields or {})
    lines = [HEAD, f"title = {_toml(title)}", f'units = "{system(us)}"']
    for name in (WANTED, FITTED, SETTINGS):
        body = [f"{known.key} = {_toml(given[known.name])}"
                for known in FIELDS if known.table == name and known.name in given]
        body += _setting_lines(name, settings, us, given)
        if body:
            lines += ["", f"# {TABLE_HEADS[name]}", f"[{name}]", *body]
    lines.append("")
    text = "\n".join(lines)
    defaults = Settings()
    learned = {name: getattr(settings, name) for name, place in HOMES.items()
               if place[0] == LEARNED and getattr(settings, name) != getattr(defaults, name)
               and not (name in _FIELD_OF and _FIELD_OF[name] in given)}
    return _updated(text, learned, us, how) if learned else text


# settings that a field of `size` gives as well
_FIELD_OF = {"section_width_mm": "sections", "liquid_density_g_l": "density",
             "meter_pulses_hl": "meter", "speed_pulses_km": "speed_sensor",
             "meter_floor_ul_s": "meter_range"}


def _setting_lines(table: str, settings: Settings, us: bool, given: Mapping[str, Any]) -> list[str]:
    lines, defaults = [], Settings()
    for name, place in HOMES.items():
        idle = (name.startswith(VALVE) and settings.actuator == PWM_PUMP
                and getattr(settings, name) == getattr(defaults, name))
        if place[0] != table or idle or _FIELD_OF.get(name) in given:
            continue
        entry: Any = row(name)
        lines.append(f"# {entry[MEANING]}; {entry[ADVICE]}")
        lines.append(f"{place[-1]} = {_toml(_written(name, settings, us))}")
    return lines


def _written(name: str, settings: Settings, us: bool) -> Any:
    """The value of a setting as it stands in a file; widths of the sections fitted only."""
    value = getattr(settings, name)
    if name == "section_width_mm":
        value = value[: settings.section_count]
    return texts.write(row(name), value, us)


def _toml(value: Any) -> str:
    return _item(value).as_string()


def _item(value: Any) -> Item:
    item = tomlkit.item(value)
    if isinstance(value, list) and len(value) > LONG_LIST:
        item.multiline(True)
    return item


def with_fields(machine: MachineFile, fields: Mapping[str, Any]) -> str:
    """The text of a machine file with other texts for fields of `size`, by name."""
    try:
        document = tomlkit.parse(machine.source.text)
        for known in FIELDS:
            if known.name in fields:
                table_at(document, (known.table,))[known.key] = _item(fields[known.name])
        return tomlkit.dumps(document)
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise InputError(f"{machine.path}: cannot be changed: {error}") from error


def keep(path: Path, found: Mapping[str, Any], how: str, beside: bool = True) -> MachineFile:
    """Put settings into a machine file; what it held stays `beside` it. Returns the new one.

    `how` they were come by is noted with the date where they were learned. Raises InputError
    with every reason why not, and then writes nothing.
    """
    machine = load_machine(path)
    text, changed = changed_text(machine, found, how)
    before = {path.name + BESIDE: machine.source.text} if beside else {}
    write_files(path.parent, {**before, path.name: text})
    return changed


def changed_text(machine: MachineFile, found: Mapping[str, Any],
                 how: str) -> tuple[str, MachineFile]:
    """The file with these settings in it, as text and as read back."""
    wanted, problems = build(dict(found), machine.settings)
    if wanted is None:
        raise InputError(*(f"{machine.path}: {texts.in_keys(line, machine.us)}"
                           for line in problems))
    written = {name: value for name, value in found.items()
               if HOMES.get(name, (LEARNED,))[0] == LEARNED or name not in machine.given
               or value != getattr(machine.settings, name)}
    written.pop("section_width_mm", None)
    if _widths(wanted) != _widths(machine.settings):
        written["section_width_mm"] = _widths(wanted)
    try:
        text = _updated(machine.source.text, written, machine.us, how)
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise InputError(f"{machine.path}: cannot be changed: {error}") from error
    changed = load_machine(machine.path, text)
    for change in texts.differences(wanted, changed.settings, machine.us):
        if _tells(change.name, wanted, changed.settings):
            raise InputError(f"{machine.path}: cannot be changed: {change.name} would become "
                             f"{change.new}, not {change.old}")
    return text, changed


def differing(old: Settings, new: Settings) -> dict[str, Any]:
    """What of the new settings differs; the units are those of the file, and stay."""
    found = {name: getattr(new, name) for name in (entry[NAME] for entry in ROWS)
             if getattr(new, name) != getattr(old, name) and name != "us_units"}
    if _widths(old) == _widths(new):
        found.pop("section_width_mm", None)
    return found


def _tells(key: str, one: Settings, other: Settings) -> bool:
    """Whether a difference is one of the machine: not of the widths of sections not fitted."""
    return key != key_of("section_width_mm") or _widths(one) != _widths(other)


def _widths(settings: Settings) -> list[int]:
    """Of the sections that are fitted."""
    return list(settings.section_width_mm[: settings.section_count])


def _updated(text: str, found: Mapping[str, Any], us: bool, how: str) -> str:
    document = tomlkit.parse(text)
    for name, value in found.items():
        if name in NO_HOME:
            continue
        where = HOMES[name]
        table = table_at(document, where[:-1])
        if where[0] == LEARNED:
            table["date"] = datetime.date.today()
            table["how"] = how
        table[where[-1]] = _item(texts.write(row(name), value, us))
    return tomlkit.dumps(document)


def table_at(document: Any, where: Where) -> Any:
    """The table at a place, made where it is not there."""
    for depth, name in enumerate(where):
        if name not in document:
            document[name] = tomlkit.inline_table() if isinstance(document, InlineTable) else (
                tomlkit.table(is_super_table=depth + 1 < len(where)))
        document = document[name]
    return document


