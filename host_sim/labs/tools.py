"""What the sheets of the labs use: a machine set up in one line, and a drive in another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from host_sim.machine_file.choice import chosen
from host_sim.plant.spec import MachineSpec
from host_sim.runs.record import RunRecord
from host_sim.trials.commissioning.commission import Commissioned, Wish, commission
from host_sim.trials.tuning.response import Response, response_of
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control.controller import Controller
from rate_control.settings import Settings, build
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

Line = NDArray[np.float64]
MakeController = Callable[[Settings], Controller]
ON_AT_S = 1.0  # master and implement go on
ML_MIN = 0.06  # L/min in a mL/s


@dataclass(frozen=True)
class LabMachine:
    """A simulated machine that was set up and measured as its owner would do it."""

    spec: MachineSpec
    found: Commissioned

    @property
    def settings(self) -> Settings:
        """With everything that was learned."""
        return self.found.settings

    @property
    def width_m(self) -> float:
        """Of the whole bar."""
        return self.settings.total_width_mm() / 1e3

    @property
    def step(self) -> Response:
        """The steps of its step test, laid over each other."""
        return response_of(self.found.step)

    def changed(self, **changes: Any) -> Settings:
        """Its settings with some changed. Raises ValueError, one line a problem."""
        settings, problems = build(changes, self.settings)
        if settings is None:
            raise ValueError("\n".join(problems))
        return settings


@cache
def machine(name: str, settling_s: float = 1.0) -> LabMachine:
    """A machine of the catalogue by name, with its pump curve and its step test done."""
    picked = chosen(name)
    return LabMachine(picked.spec, commission(picked.spec, 1, Wish(settling_s=settling_s)))


def drive(lab: LabMachine, speeds: Sequence[tuple[float, float]],
          settings: Settings | None = None, events: Sequence[Event] = (),
          make: MakeController = Controller, field: str = "calm", seed: int = 1,
          **plant: Any) -> RunRecord:
    """Drive it; returns a row for each tick.

    speeds are points of (seconds, m/s), straight between them. Master and implement go on after a
    second. make builds the controller from settings, where it is to be another one. plant are
    fields of the simulated machine to change.
    """
    times, values = zip(*speeds, strict=True)
    start = Event("arm and lower", at_s=ON_AT_S, on=SWITCH_MASTER | SWITCH_IMPLEMENT)
    scenario = Scenario("lab", replace(lab.spec, **plant), settings or lab.settings,
                        SpeedTrace("lab", times, values), seed, [start, *events], field)
    return Twin(scenario, contender=lambda given, _: make(given)).run()


def section_switch(number: int, on: bool, at_s: float) -> Event:
    """Move a section switch; number 1 is the section on the left."""
    bit = 1 << SWITCH_SECTION_SHIFT + number - 1
    words = f"section {number} {'on' if on else 'off'}"
    return Event(words, at_s=at_s, on=bit if on else 0, off=0 if on else bit)


def breaks(at_s: float, **faults: float) -> Event:
    """Break something at the simulated machine, or mend it with False or 0."""
    return Event(", ".join(faults), at_s=at_s, faults=faults)


def between(record: RunRecord, name: str, start_s: float, end_s: float) -> Line:
    """A column of a record for a stretch of time."""
    time = record["time_s"]
    part: Line = record[name][(time >= start_s) & (time < end_s)]
    return part


def flow_l_min(record: RunRecord) -> Line:
    """What really leaves the outlets."""
    flow: Line = record["true_flow_ml_s"] * ML_MIN
    return flow


def wanted_l_min(record: RunRecord, rate_l_ha: float, width_m: float) -> Line:
    """What should leave them at the true speed: L/min = L/ha x km/h x m / 600."""
    flow: Line = rate_l_ha * record["true_speed_m_s"] * 3.6 * width_m / 600
    return flow


def state_at(record: RunRecord, at_s: float) -> int:
    """The number of the state at a moment, as in interlock.STATE_NAMES."""
    return int(between(record, "state", at_s, at_s + 0.049)[0])
