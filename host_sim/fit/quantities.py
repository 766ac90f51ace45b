"""What a machine does, in figures that a person can measure: made of its parameters.

Many parameters are told by a run only together, as the winding, the friction and the slip of a
pump are: what they make of a duty is told far better than each.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from host_sim.fit.episode import Episode
from host_sim.fit.estimate import Estimate
from host_sim.fit.unknowns import Vector, with_values
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.spec import BYPASS_VALVE, PWM_PUMP, MachineSpec
from host_sim.plant.static_pump import Conditions
from host_sim.plant.steady import inverse_actuation, steady_state
from host_sim.plant.units import ATMOSPHERE_PA

CONFIDENCE = 1.96  # deviations of a normal distribution on either side of 95 %
STEP = 0.1  # deviations of an unknown, for the derivative of a quantity
SETTLE_US, LOOK_US, GRAIN_US = 8_000_000, 4_000_000, 10_000
FROM_SHARE, TO_SHARE = 0.4, 0.6  # of the full flow: the step of delay and lag
BEGINS_SHARE = 1e-3  # of the full flow: where it is said to begin
EARLY, LATE = 0.1, 1.0 - math.exp(-1.0)
FINER = 20.0  # steps of a setting at which the curve is read, in the whole

Measure = Callable[[MachineSpec], float]


@dataclass(frozen=True)
class Quantity:
    """One figure: its value, its deviation, and the deviation that was known beforehand."""

    name: str
    kind: str  # what it is: a key of words.SHOWN
    value: float
    deviation: float
    beforehand: float

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval."""
        half = CONFIDENCE * self.deviation
        return self.value - half, self.value + half

    @property
    def told(self) -> float:
        """The deviation over that beforehand: 1 where the run told nothing."""
        return self.deviation / self.beforehand if self.beforehand > 0.0 else 1.0


@dataclass(frozen=True)
class WorkingPoint:
    """Where a machine is looked at: what does not change with its parameters."""

    mask: int
    at: Conditions
    settings: tuple[float, ...]  # duties, or openings of the valve, where the curve is read
    low_m3_s: float
    high_m3_s: float
    pump: bool


def point_of(found: Estimate) -> WorkingPoint:
    """Where the machine of an estimate is looked at: all sections, the supply of the run."""
    spec = found.machine
    mask = (1 << spec.sections.count) - 1
    at = Conditions(_supply_v(spec, found.episode), branch=1)
    full = steady_state(spec, 0.0 if spec.actuator == BYPASS_VALVE else 1.0, mask, at).flow_m3_s
    begins = inverse_actuation(spec, BEGINS_SHARE * full, mask, at)
    end = 0.0 if spec.actuator == BYPASS_VALVE else 1.0
    settings = tuple(round((begins + share * (end - begins)) * FINER) / FINER
                     for share in (0.25, 0.5, 0.75, 1.0))
    return WorkingPoint(mask, at, settings, FROM_SHARE * full, TO_SHARE * full,
                 spec.actuator == PWM_PUMP)


def _supply_v(spec: MachineSpec, episode: Episode) -> float:
    """Of the battery at no load, about, during the run."""
    measured = episode.supply_v[episode.supply_v > 0.0]
    if not len(measured):
        return spec.supply.open_v
    return float(np.max(measured)) + spec.supply.resistance_ohm * spec.supply.base_current_a


def measures(point: WorkingPoint) -> Iterator[tuple[str, str, Measure]]:
    """Name, kind and function of every quantity, in the order in which they are shown."""
    if point.pump:
        yield "dead zone", "share", lambda spec: inverse_actuation(
            spec, BEGINS_SHARE * point.high_m3_s, point.mask, point.at)
    for setting in point.settings:
        what = "duty" if point.pump else "open"
        yield f"flow at {100 * setting:.0f} % {what}", "flow", _flow(point, setting)
    yield "delay, to 10 %", "time", lambda spec: _step(spec, point, EARLY)
    yield "lag, to 63 %", "time", lambda spec: _step(spec, point, LATE)
    yield "compliance", "compliance", lambda spec: _compliance(spec, point)
    yield "meter lag", "time", lambda spec: (
        2 * spec.meter.lag_s * spec.meter.full_scale_m3_s / (point.low_m3_s + point.high_m3_s))
    if not point.pump:
        yield "valve travel", "time", lambda spec: spec.valve_table.travel_s
        yield "valve start", "time", lambda spec: spec.valve_table.start_s
        yield "valve overrun", "time", lambda spec: spec.valve_table.overrun_s
        yield "valve play", "share", lambda spec: spec.valve_table.play_share


def _flow(point: WorkingPoint, setting: float) -> Measure:
    return lambda spec: steady_state(spec, setting, point.mask, point.at).flow_m3_s


def _compliance(spec: MachineSpec, point: WorkingPoint) -> float:
    """Storage per pressure at the middle flow: hoses, and the air in them."""
    middle = (point.low_m3_s + point.high_m3_s) / 2
    setting = inverse_actuation(spec, middle, point.mask, point.at)
    absolute = steady_state(spec, setting, point.mask, point.at).pressure_pa + ATMOSPHERE_PA
    manifold = spec.manifold
    return manifold.compliance_m3_pa + manifold.air_m3 * ATMOSPHERE_PA / absolute**2


def _step(spec: MachineSpec, point: WorkingPoint, share: float) -> float:
    """How long after a step of the flow the meter's rotor has followed by a share of it.

    A valve is set from one opening to the other at once: its motor's time is no part of it.
    """
    low, high = (inverse_actuation(spec, flow, point.mask, point.at)
                 for flow in (point.low_m3_s, point.high_m3_s))
    machine = Machine(spec)
    if point.at.supply_v is not None:
        machine.faults.supply_drop_v = spec.supply.open_v - point.at.supply_v

    def live(until_us: int, setting: float) -> None:
        if point.pump:
            machine.advance(until_us, Actuation(setting, 0, point.mask), 0.0)
        else:
            machine.faults.regulator_stuck = setting
            machine.advance(until_us, Actuation(0.0, 0, point.mask), 0.0)

    live(SETTLE_US, low)
    read = [machine.flow_meter.rotor_m3_s]
    for now_us in range(SETTLE_US + GRAIN_US, SETTLE_US + LOOK_US + 1, GRAIN_US):
        live(now_us, high)
        read.append(machine.flow_meter.rotor_m3_s)
    risen = (np.array(read) - read[0]) / (read[-1] - read[0])
    row = int(np.argmax(risen >= share))
    before = risen[row - 1]
    return float((row - 1 + (share - before) / (risen[row] - before)) * GRAIN_US * 1e-6)


def quantities(found: Estimate, point: WorkingPoint) -> list[Quantity]:
    """Every quantity of an estimate, its deviation by the derivatives after all unknowns."""
    rows = list(measures(point))
    here = _all(found.machine, rows)
    slopes = np.empty((len(rows), len(found.z)))
    for column, unknown in enumerate(found.unknowns):
        moved = found.z.copy()
        moved[column] += STEP if moved[column] + STEP < unknown.limits()[1] else -STEP
        there = _all(with_values(found.spec, found.unknowns, moved), rows)
        slopes[:, column] = (there - here) / (moved[column] - found.z[column])
    deviations = np.sqrt(np.einsum("ij,jk,ik->i", slopes, found.covariance, slopes))
    beforehand = np.linalg.norm(slopes, axis=1)
    return [Quantity(name, kind, float(value), float(deviation), float(wide))
            for (name, kind, _), value, deviation, wide
            in zip(rows, here, deviations, beforehand, strict=True)]


def _all(spec: MachineSpec, rows: list[tuple[str, str, Measure]]) -> Vector:
    return np.array([measure(spec) for _, _, measure in rows])
