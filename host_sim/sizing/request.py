"""A sizing request, from options and from a machine file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.sizing import texts
from host_sim.sizing.engine import best_size
from host_sim.sizing.fields import FIELDS, Said, SizingField
from host_sim.sizing.machine import Ask, Meter, SizedMachine, iso_outlet

WIDTH_AGREES = 0.01  # of the width, by which outlets times spacing may differ from it


@dataclass(frozen=True)
class SizingRequest:
    """A whole request: what is asked, of which machine, and how to show the answer."""

    ask: Ask
    machine: SizedMachine
    us: bool
    given: frozenset[str]  # fields that were not left to their default
    said: Mapping[str, Said] = field(compare=False, default_factory=dict)

    @property
    def outlet_chosen(self) -> bool:
        """Whether the outlet was left to us."""
        return "outlet" not in self.given


def read_request(
    options: Mapping[str, list[str] | None], us: bool | None, file: Path | None
) -> SizingRequest:
    """The request of a command line; InputError names the option, or file, line and field."""
    machine = load_machine(file) if file else None
    said = dict(machine.fields) if machine else {}
    us = (machine is not None and machine.us) if us is None else us
    for name, words in options.items():
        if words:
            said[name] = Said(tuple(words), us, _option(name))
    for known in FIELDS:
        if known.required and known.name not in said:
            place = f"{file}: {known.table}.{known.name}" if file else _option(known.name)
            raise InputError(f"{place}: is missing; for example '{known.example}'")
    values = {known.name: _value(known, said.get(known.name)) for known in FIELDS}
    values["spacing"] = _spacing_m(values, said, machine)
    ask = Ask(tuple(values["rate"]), values["speed"])
    return SizingRequest(ask, _machine(values, said, ask), us, frozenset(said), said)


def _spacing_m(values: Mapping[str, Any], said: Mapping[str, Said],
               machine: MachineFile | None) -> float:
    """The distance of the outlets, which the width of the bar and their number give too."""
    outlets = sum(values["sections"])
    width_m = values["width"]
    if machine and width_m is None and "spacing" not in said:
        width_m = machine.width_m
    if values["spacing"] is None and width_m is None:
        raise InputError("--spacing: is missing, and so is --width; for example '0.5 m'")
    spacing_m = float(values["spacing"] or width_m / outlets)
    if width_m and abs(spacing_m * outlets / width_m - 1) > WIDTH_AGREES:
        place = said["width"].place if "width" in said else said["spacing"].place
        raise InputError(f"{place}: {outlets} outlets at this spacing are "
                         f"{spacing_m * outlets:.6g} m, not {width_m:.6g} m")
    return spacing_m


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def _value(field: SizingField, said: Said | None) -> Any:
    """A field's SI value; of the default, of the single text, or of each of many."""
    if said is None:
        # A default carries its own unit.
        return field.read(field.default, False) if field.default else None
    if len(said.texts) > 1 and not field.many:
        raise InputError(f"{said.place}: is given more than once")
    values = [_at(said, field.read, text, said.us) for text in said.texts]
    return values if field.many else values[0]


def _at(said: Said, read: Callable[..., Any], *arguments: Any) -> Any:
    """Call a reader; what it complains about is reported with its place."""
    try:
        return read(*arguments)
    except ValueError as error:
        raise InputError(f"{said.place}: {error}") from None


def _machine(values: Mapping[str, Any], said: Mapping[str, Said], ask: Ask) -> SizedMachine:
    if values["meter_range"] and not values["meter"]:
        raise InputError(f"{said['meter_range'].place}: needs the K-factor, field meter, too")
    range_pa = values["outlet_pressure"]
    given = said.get("outlet")
    if given:
        outlet = _at(given, texts.outlet, values["outlet"], range_pa, given.us)
    else:
        outlet = iso_outlet("03", range_pa)
    machine = SizedMachine(
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
