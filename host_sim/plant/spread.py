"""Random builds of a kind of machine, as a campaign needs them."""

from __future__ import annotations

import dataclasses
from random import Random
from typing import Any

from host_sim.plant.parameters import ParameterRow, ParameterTable, rows
from host_sim.plant.pump_spec import ElectricPumpSpec
from host_sim.plant.spec import MachineSpec


def vary(spec: MachineSpec, rng: Random) -> MachineSpec:
    """Another build of the machine: every parameter with a spread is drawn from it.

    What is absent stays absent (a relief valve, a hose, ripple), and per-section parameters
    are drawn for each section. Deterministic for a generator's state.
    """
    tables: dict[str, Any] = {
        name: _vary_table(table, spec.sections.count, rng)
        for name, table in spec.tables().items()
    }
    return dataclasses.replace(spec, **tables)


def _vary_table(table: ParameterTable, sections: int, rng: Random) -> ParameterTable:
    drawn: dict[str, Any] = {}
    for name, row in rows(type(table)).items():
        if row.spread is None:
            continue
        value = getattr(table, name)
        if row.many:
            values = value * sections if len(value) == 1 else value
            drawn[name] = tuple(_draw(row, item, rng) for item in values)
        else:
            drawn[name] = _draw(row, value, rng)
    if isinstance(table, ElectricPumpSpec):
        drawn["breakaway_nm"] = max(drawn["breakaway_nm"], drawn["friction_nm"])
    return dataclasses.replace(table, **drawn)


def _draw(row: ParameterRow, value: float, rng: Random) -> float:
    """From the spread, within the limits; one number is drawn whatever comes of it."""
    assert row.spread is not None
    return min(max(row.spread.draw(value, rng), row.low), row.high)
