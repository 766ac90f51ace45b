"""Writes the parameters of a simulated machine into the [twin] of a machine file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from host_sim.common.errors import InputError
from host_sim.common.output import write_files
from host_sim.machine_file.homes import TWIN
from host_sim.machine_file.keeping import BESIDE, table_at
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.machine_file.twin_spec import spec_of
from host_sim.plant.spec import MachineSpec
from host_sim.plant.units import trade_names, unit_of

DIGITS = 5
SAME = 10.0 ** (2 - DIGITS)  # what the rounding may change
# Unit of a parameter: how it is written in a file, metric and US, and the ending of that.
WRITTEN = {
    "_m3_pa": (("mL/bar", "_ml_bar"),) * 2,
    "_m3_s_pa": (("L/min/bar", "_l_min_bar"),) * 2,
    "_m3_rad": (("mL/rev", "_ml_rev"),) * 2,
    "_pa": (("bar", "_bar"), ("psi", "_psi")),
    "_m3_s": (("L/min", "_l_min"), ("gal/min", "_gal_min")),
    "_m3": (("mL", "_ml"),) * 2,
    "_m": (("m", "_m"), ("ft", "_ft")),
    "_s": (("s", "_s"),) * 2,
    "_share": (("%", "_share"),) * 2,
}


@dataclass(frozen=True)
class Fitted:
    """A parameter to be written: its value, one a section where it is many, and a comment."""

    value: float | tuple[float, ...]
    note: str = ""


def shown(name: str, value: float, us: bool) -> str | float:
    """A parameter as it stands in a file: a text with its unit, or a number where it has none."""
    unit = unit_of(name)
    if unit not in WRITTEN:
        return float(f"{value:.{DIGITS}g}")
    label, ending = WRITTEN[unit][us]
    factor = 0.01 if label == "%" else trade_names(name).get(
        name.removesuffix(unit) + ending, 1.0)
    return f"{value / factor:.{DIGITS}g} {label}"


def keep_twin(path: Path, spec: MachineSpec, fitted: Mapping[tuple[str, str], Fitted],
              how: str) -> MachineFile:
    """Put parameters, by table and name, into a machine file; what it held stays beside it.

    Everything else of the file stays as it is. Raises InputError, and then writes nothing, where
    the simulated machine of the file would not be `spec` in these parameters.
    """
    machine = load_machine(path)
    try:
        text = _updated(machine, spec, fitted, how)
    except (TOMLKitError, ValueError, RecursionError) as error:
        raise InputError(f"{path}: cannot be changed: {error}") from error
    changed = load_machine(path, text)
    again = spec_of(changed)
    for table, name in fitted:
        wanted, got = (getattr(one.tables()[table], name) for one in (spec, again))
        if not _same(wanted, got):
            raise InputError(f"{path}: cannot be changed: {TWIN}.{table}.{name} would become {got}")
    write_files(path.parent, {path.name + BESIDE: machine.source.text, path.name: text})
    return changed


def _same(wanted: Any, got: Any) -> bool:
    pairs = zip(wanted, got, strict=True) if isinstance(wanted, tuple) else ((wanted, got),)
    return all(math.isclose(one, other, rel_tol=SAME, abs_tol=1e-30) for one, other in pairs)


def _updated(machine: MachineFile, spec: MachineSpec, fitted: Mapping[tuple[str, str], Fitted],
             how: str) -> str:
    document = tomlkit.parse(machine.source.text)
    table_at(document, (TWIN,))["kind"] = spec.kind
    for (part, name), one in fitted.items():
        own = spec.tables()[part]
        table = table_at(document, (TWIN, part))
        for given in [key for key in table if own.field_named(key, table[key]) == name]:
            del table[given]
        values = one.value if isinstance(one.value, tuple) else (one.value,)
        written = [shown(name, value, machine.us) for value in values]
        bare = isinstance(written[0], float)
        item = tomlkit.item(written if isinstance(one.value, tuple) else written[0])
        if one.note and not isinstance(table, tomlkit.items.InlineTable):
            item.comment(one.note)
        table[name if bare else name.removesuffix(unit_of(name))] = item
    for part in dict.fromkeys(part for part, _ in fitted):
        table = table_at(document, (TWIN, part))
        if isinstance(table, tomlkit.items.Table):
            table.comment(how)
    return tomlkit.dumps(document)
