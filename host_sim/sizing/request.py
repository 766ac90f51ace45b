"""A sizing request, from options and from the `[size]` table of a TOML file."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError
from host_sim.common.toml_source import TomlSource
from host_sim.sizing import texts
from host_sim.sizing.engine import best_size
from host_sim.sizing.fields import FIELDS, Field
from host_sim.sizing.machine import Ask, Machine, Meter, iso_outlet

TABLE = "size"
UNITS = ("si", "us")

_BY_NAME = {field.name: field for field in FIELDS}


@dataclass(frozen=True)
class Request:
    """A whole request: what is asked, of which machine, and how to show the answer."""

    ask: Ask
    machine: Machine
    us: bool
    given: frozenset[str]  # fields that were not left to their default

    @property
    def outlet_chosen(self) -> bool:
        """Whether the outlet was left to us."""
        return "outlet" not in self.given


@dataclass(frozen=True)
class _Said:
    """The texts given for a field, the system of its bare numbers, and its place."""

    texts: tuple[str, ...]
    us: bool
    place: str


def read_request(
    options: Mapping[str, list[str] | None], us: bool | None, file: Path | None
) -> Request:
    """The request of a command line; InputError names the option, or file, line and field."""
    said, file_us = _read_file(file) if file else ({}, False)
    us = file_us if us is None else us
    for name, words in options.items():
        if words:
            said[name] = _Said(tuple(words), us, _option(name))
    for field in FIELDS:
        if field.required and field.name not in said:
            place = f"{file}: {TABLE}.{field.name}" if file else _option(field.name)
            raise InputError(f"{place}: is missing; for example '{field.example}'")
    values = {field.name: _value(field, said.get(field.name)) for field in FIELDS}
    ask = Ask(tuple(values["rate"]), values["speed"])
    return Request(ask, _machine(values, said, ask), us, frozenset(said))


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def _value(field: Field, said: _Said | None) -> Any:
    """A field's SI value; of the default, of the single text, or of each of many."""
    if said is None:
        # A default carries its own unit.
        return field.read(field.default, False) if field.default else None
    if len(said.texts) > 1 and not field.many:
        raise InputError(f"{said.place}: is given more than once")
    values = [_at(said, field.read, text, said.us) for text in said.texts]
    return values if field.many else values[0]


def _at(said: _Said, read: Callable[..., Any], *arguments: Any) -> Any:
    """Call a reader; what it complains about is reported with its place."""
    try:
        return read(*arguments)
    except ValueError as error:
        raise InputError(f"{said.place}: {error}") from None


def _machine(values: Mapping[str, Any], said: Mapping[str, _Said], ask: Ask) -> Machine:
    if values["meter_range"] and not values["meter"]:
        raise InputError(f"{said['meter_range'].place}: needs the K-factor, field meter, too")
    range_pa = values["outlet_pressure"]
    given = said.get("outlet")
    if given:
        outlet = _at(given, texts.outlet, values["outlet"], range_pa, given.us)
    else:
        outlet = iso_outlet("03", range_pa)
    machine = Machine(
        outlet=outlet,
        spacing_m=values["spacing"],
        sections=values["sections"],
        density_kg_m3=values["density"],
        check_pa=values["check_valve"],
        pump=values["pump"],
        relief_pa=values["relief"],
        regulating_valve=values["regulating_valve"],
        section_valve=values["section_valve"],
        meter=Meter(values["meter"], values["meter_range"]) if values["meter"] else None,
        speed_pulses_per_m=values["speed_sensor"],
        pulse_range_hz=values["pulse_range"],
    )
    return machine if given else best_size(machine, ask)


def _read_file(file: Path) -> tuple[dict[str, _Said], bool]:
    """Fields of a TOML file, each with its place; and whether its numbers are US customary."""
    source = TomlSource(file)
    table = source.data.get(TABLE)
    if not isinstance(table, dict):
        raise InputError(f"{file}: has no table [{TABLE}]")
    units = table.pop("units", "si")
    if units not in UNITS:
        problem = f"must be 'si' or 'us', is {units!r}"
        raise InputError(source.problem((TABLE, "units"), problem))
    for name in table:
        if name not in _BY_NAME:
            near = difflib.get_close_matches(name, _BY_NAME, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise InputError(source.problem((TABLE, name), f"there is no such key here{hint}"))
    said = {}
    for name, value in table.items():
        place = source.problem((TABLE, name), "").removesuffix(": ")
        said[name] = _Said(_texts_of(_BY_NAME[name], value, place), units == "us", place)
    return said, units == "us"


def _texts_of(field: Field, value: Any, place: str) -> tuple[str, ...]:
    """A TOML value as the texts that options would have carried."""
    items = value if isinstance(value, list) else [value]
    if not items or not all(type(item) in (str, int, float) for item in items):
        raise InputError(f"{place}: must be a text or number, for example '{field.example}'")
    words = tuple(str(item) for item in items)
    return words if field.many else (", ".join(words),)
