"""Which parameters of a machine are not known, and what is known of each before the run.

A parameter with a spread in the plant's tables differs between builds of a machine: its spread is
what is known beforehand. It is a weak statement: the normal distribution of the same mean and
deviation, in the logarithm where the spread is one of the logarithm, so that a run that says
otherwise is believed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from host_sim.plant.catalogue import KINDS
from host_sim.plant.parameters import (
    ParameterRow,
    Percent,
    Spread,
    Times,
    Within,
    WithinLog,
    rows,
)
from host_sim.plant.pump_spec import ElectricPumpSpec
from host_sim.plant.spec import MachineSpec
from rate_control.units import PWM_PUMP

EVENLY = 1.0 / math.sqrt(12.0)  # deviation of an even distribution over its width
LEAVES_OUT = {"ground", "gnss", "liquid"}  # the flow meter sees nothing of them
BESIDE = {("meter", "pulses_per_m3"), ("valve", "start_share")}
SUPPLY = ("resistance_ohm",)  # the rest of the supply is what the board measured
ADDS = ("compliance_m3_pa",)  # to what trapped air stores: looked for as such, not as a logarithm
METER = Percent(0.5)  # the meter's own constant: as a calibration leaves it; common practice
STOOD = Within(-1.0, 1.0)  # a valve, about where the twin lets it stand at the start
STARTS_WITHIN = 1.7  # deviations from the middle at which the search may begin: the spread's end

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Unknown:
    """A parameter, or one section's. `z` is its distance from `centre` in deviations."""

    table: str
    name: str
    index: int | None
    centre: float  # in the logarithm where `log`
    deviation: float
    log: bool
    low: float
    high: float
    begin: float = 0.0  # the z at which the search begins

    @property
    def beside(self) -> bool:
        """Whether it belongs to the run, or to a calibration, and not into a machine file."""
        return (self.table, self.name) in BESIDE

    @property
    def key(self) -> str:
        return f"{self.table}.{self.name}" + ("" if self.index is None else f"[{self.index + 1}]")

    def value(self, z: float) -> float:
        """The parameter, within its limits."""
        at = self.centre + self.deviation * z
        if self.log:
            at = math.exp(min(max(at, math.log(max(self.low, 1e-300))), math.log(self.high)))
        return min(max(at, self.low), self.high)

    def z_of(self, value: float) -> float:
        """The z of a value; minus infinity has none, so a zero in a logarithm is a small number."""
        at = math.log(max(value, 1e-300)) if self.log else value
        return (at - self.centre) / self.deviation

    def limits(self) -> tuple[float, float]:
        """The least and the greatest z."""
        return self.z_of(self.low), self.z_of(self.high)


def unknowns_of(spec: MachineSpec, settings: dict[str, int]) -> list[Unknown]:
    """Every unknown of a machine; the search begins at what the controller's settings say."""
    usual = KINDS[spec.kind]().tables()
    found = []
    for table, part in spec.tables().items():
        if table in LEAVES_OUT:
            continue
        for name, row in rows(type(part)).items():
            spread = _spread(table, name, row)
            if spread is None:
                continue
            value = getattr(part, name)
            own = table in usual and getattr(usual[table], name) == value
            values = value * spec.sections.count if row.many and len(value) == 1 else value
            for index, item in enumerate(values) if row.many else ((None, value),):
                unknown = _unknown(table, name, index, row, spread, item, own)
                if unknown is not None:
                    found.append(unknown)
    return [_begun(unknown, settings) for unknown in found]


def _spread(table: str, name: str, row: ParameterRow) -> Spread | None:
    if (table, name) == ("meter", "pulses_per_m3"):
        return METER
    if (table, name) == ("valve", "start_share"):
        return STOOD
    return None if table == "supply" and name not in SUPPLY else row.spread


def _unknown(table: str, name: str, index: int | None, row: ParameterRow, spread: Spread,
             value: float, own: bool) -> Unknown | None:
    """None for what is absent, as a hose of no length.

    `own` says that the value is the kind's: where a machine file gives another, a range of the
    kind is one about that value.
    """
    log = isinstance(spread, Times | WithinLog) and name not in ADDS
    if isinstance(spread, Times | Percent) and value == 0.0:
        return None
    if isinstance(spread, Times):
        centre, deviation = math.log(value), 2 * math.log(spread.factor) * EVENLY
    elif isinstance(spread, Percent):
        centre, deviation = value, 2 * value * spread.percent / 100 * EVENLY
    elif isinstance(spread, WithinLog) and not log:
        width = math.log(spread.high / spread.low)
        mean = (spread.high - spread.low) / width
        square = (spread.high**2 - spread.low**2) / (2 * width)
        centre, deviation = mean if own else value, math.sqrt(square - mean * mean)
    elif isinstance(spread, WithinLog):
        low, high = math.log(spread.low), math.log(spread.high)
        centre = (low + high) / 2 if own else math.log(value)
        deviation = (high - low) * EVENLY
    else:
        assert isinstance(spread, Within)
        centre = (spread.low + spread.high) / 2 if own else value
        deviation = (spread.high - spread.low) * EVENLY
        if name == "start_share":
            centre = value
    return Unknown(table, name, index, centre, deviation, log, row.low, row.high)


def _begun(unknown: Unknown, settings: dict[str, int]) -> Unknown:
    """With where the search begins: of a valve's times, what the settings say of them."""
    if unknown.table != "valve" or settings["actuator"] == PWM_PUMP:
        return unknown
    travel_s = settings["valve_travel_ms"] / 1e3
    start_s = max(settings["valve_min_pulse_ms"] - 2.5, 1.0) / 1e3
    told = {
        "travel_s": travel_s,
        "play_share": settings["valve_play_ms"] / 1e3 / travel_s,
        "start_s": start_s,
        "overrun_s": start_s - settings["valve_lost_ms"] / 1e3,
    }
    if unknown.name not in told:
        return unknown
    z = unknown.z_of(told[unknown.name])
    return replace(unknown, begin=min(max(z, -STARTS_WITHIN), STARTS_WITHIN))


def with_values(spec: MachineSpec, unknowns: Sequence[Unknown], z: Vector) -> MachineSpec:
    """The machine that has these."""
    tables = spec.tables()
    changed: dict[str, dict[str, Any]] = {}
    for unknown, at in zip(unknowns, z.tolist(), strict=True):
        own = changed.setdefault(unknown.table, {})
        value = unknown.value(at)
        if unknown.index is None:
            own[unknown.name] = value
        else:
            given = own.get(unknown.name, getattr(tables[unknown.table], unknown.name))
            each = list(given) if len(given) == spec.sections.count else (
                list(given) * spec.sections.count)
            each[unknown.index] = value
            own[unknown.name] = tuple(each)
    pump = spec.pump
    if isinstance(pump, ElectricPumpSpec) and "pump" in changed:
        own = changed["pump"]
        friction = own.get("friction_nm", pump.friction_nm)
        own["breakaway_nm"] = max(own.get("breakaway_nm", pump.breakaway_nm), friction)
    parts: dict[str, Any] = {name: replace(tables[name], **own) for name, own in changed.items()}
    return replace(spec, **parts)


def values_of(spec: MachineSpec, unknowns: Sequence[Unknown]) -> Vector:
    """The values of a machine in the order of its unknowns."""
    found = []
    for unknown in unknowns:
        value = getattr(spec.tables()[unknown.table], unknown.name)
        if unknown.index is not None:
            value = value[unknown.index] if len(value) > 1 else value[0]
        found.append(float(value))
    return np.array(found)
