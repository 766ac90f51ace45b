"""The twin to play with: the firmware on a virtual board, a machine, and free hands.

Deterministic like every twin: what happens depends on the calls and on how many steps lie
between them, never on the time of day. Real time is the business of session.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from host_sim.panel.ground_cells import GroundCells
from host_sim.panel.steering import Steering
from host_sim.panel.swath_slabs import SwathSlabs
from host_sim.panel.vehicle import RECORDED, Vehicle
from host_sim.plant.machine import Machine
from host_sim.plant.way import Way
from host_sim.runs.judged import AT_WORK, M2_HA
from host_sim.twin.clock import US_PER_S, VirtualClock
from host_sim.twin.disturbances import set_field
from host_sim.twin.flashed import flashed, opening_contacts
from host_sim.twin.operated import STEP_US, OperatedRun
from host_sim.twin.scenario import Scenario
from host_sim.twin.twin import place_of, sensor_of
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_SECTION_SHIFT

TANK_L = 200.0


@dataclass(frozen=True)
class TrueNow:
    """What was really so since the last look; not a number where nothing was to be applied."""

    speed_mm_s: float
    flow_ul_s: float
    applied_ml_ha: float


class LiveTwin(OperatedRun):
    """One machine in the hands of one person.

    `vehicle` and `steering` are the driver's, `board.switches` and `panel` are the operator's,
    `faults` belong to nobody, `field` is the one that acts on them. `wanted_ml_ha` is the rate that
    the ground is judged by. `after_step` is called after every step, whoever made time go by.
    """

    def __init__(self, scenario: Scenario) -> None:
        clock = VirtualClock()
        machine = Machine(scenario.machine, scenario.seed, clock.total_us)
        machine.way = Way(scenario.heading_deg)
        machine.gnss.origin = scenario.place
        files = flashed(scenario.settings, scenario.zones, scenario.plan, scenario.pressure)
        super().__init__(machine, clock, files, pressure=sensor_of(machine, scenario))
        self.board.fittings.opening = opening_contacts(scenario.settings)
        self.faults = machine.faults
        self.field = scenario.field
        set_field(self.faults, self.field)
        self.vehicle = Vehicle(scenario.speed_trace)
        self.steering = Steering(machine.way, sum(scenario.section_width_m), scenario.events)
        self.cells = GroundCells(len(scenario.section_width_m))
        self.slabs = SwathSlabs(len(scenario.section_width_m))
        self.tank_l = TANK_L
        self.pump_dead = False
        self.supply_v = scenario.machine.supply.open_v
        self.wanted_ml_ha = scenario.settings.rate_ml_ha
        self.board.switches = ((1 << len(scenario.section_width_m)) - 1) << SWITCH_SECTION_SHIFT
        self._widths_m = scenario.section_width_m
        self._volumes_ml = machine.section_volume_ml
        self._flow_ml = self._applied_ml = self._area_ha = self._span_s = 0.0
        self.after_step: Callable[[], None] = lambda: None

    @property
    def elapsed_us(self) -> int:
        """Simulated time since power-up in microseconds."""
        return self.clock.elapsed_us

    def step(self, step_us: int = STEP_US) -> None:
        """Live on, with all that is around the board, and account for it."""
        step_s = step_us / US_PER_S
        self.speed_m_s = self.vehicle.advance(step_s)
        self.machine.field.recorded = self.vehicle.mode == RECORDED
        self.faults.pump_dead = self.pump_dead or self.tank_l <= 0.0
        start_m, open_mask = self.machine.distance_m, self.board.actuation.section_mask
        self.steering.act(start_m, bool(self.board.switches & SWITCH_IMPLEMENT))
        super().step(step_us)
        self._account(start_m, open_mask, step_s)
        self.after_step()

    def _account(self, start_m: float, open_mask: int, step_s: float) -> None:
        """Take note of what left the orifices, and of what should have.

        The cells are judged as host_sim/runs/truth.py judges those of a recorded run: wanted is
        the rate on every section that is switched on by hand, with the master on and the
        implement down. The applied rate is that while the board has its outputs on.
        """
        machine = self.machine
        volumes_ml, before_ml = machine.section_volume_ml, self._volumes_ml
        applied_ml = [now - before for now, before in zip(volumes_ml, before_ml, strict=True)]
        self._volumes_ml = volumes_ml
        self.tank_l = max(self.tank_l - sum(applied_ml) / 1e3, 0.0)
        step_m = machine.distance_m - start_m
        switches = self.board.switches
        on = [bool(switches >> SWITCH_SECTION_SHIFT + i & 1) for i in range(len(applied_ml))]
        asked = switches & AT_WORK == AT_WORK
        working = [section_on and bool(open_mask) for section_on in on]
        area_ha = [step_m * width_m / M2_HA * works
                   for width_m, works in zip(self._widths_m, working, strict=True)]
        target_ml = [step_m * width_m / M2_HA * self.wanted_ml_ha for width_m in self._widths_m]
        asked_of = [asked and section_on for section_on in on]
        self.cells.add(start_m, machine.distance_m, asked_of, applied_ml, target_ml)
        self.slabs.add(place_of(machine), step_m, asked_of, applied_ml, target_ml,
                       self.wanted_ml_ha)
        self._span_s += step_s
        self._flow_ml += sum(applied_ml)
        if any(working):
            self._applied_ml += sum(applied_ml)
            self._area_ha += sum(area_ha)

    def look(self) -> TrueNow:
        """What was true since the last look, as means over that time."""
        span_s = self._span_s or math.inf
        truth = TrueNow(
            speed_mm_s=self.machine.speed_m_s * 1e3,
            flow_ul_s=self._flow_ml / span_s * 1e3,
            applied_ml_ha=self._applied_ml / self._area_ha if self._area_ha else math.nan,
        )
        self._flow_ml = self._applied_ml = self._area_ha = self._span_s = 0.0
        return truth
