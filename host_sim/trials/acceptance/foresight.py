"""What a machine will do under commands that are still to come: its hydraulics, run ahead.

The parts are those of the plant, put together as the machine itself does it, so that the model
and the machine stay in step as long as nothing acts on the machine that the model is not told of.
"""

from __future__ import annotations

import copy

from host_sim.plant.actuation import Actuation
from host_sim.plant.machine import SUBSTEP_S, SUBSTEP_US, Machine, main_hose, make_pump
from host_sim.plant.manifold import Manifold
from host_sim.plant.regulated_pump import RegulatedPump
from host_sim.plant.sections import PlantSections
from host_sim.plant.spec import INLINE_VALVE
from host_sim.plant.units import ML_M3
from rate_control.units import TICK_US

SUBSTEPS = TICK_US // SUBSTEP_US
RENEWAL_SHARE = 0.01  # the machine's own


class Foresight:
    """The hydraulics of a machine from rest on. `branch` gives another one to try a command on."""

    def __init__(self, machine: Machine) -> None:
        spec = machine.spec
        relief_pa = 0.0 if spec.actuator == INLINE_VALVE else spec.manifold.relief_pa
        self._spec = spec
        self._faults = machine.faults
        self._main = main_hose(spec)
        self._pump = make_pump(spec)
        self._manifold = Manifold(spec.manifold, spec.sections.check_pa, relief_pa)
        self._sections = PlantSections(spec.sections, spec.liquid)
        self._mask = 0
        self._main_at_m3_s = 0.0
        self._hoses_at_m3_s = 0.0
        self._supply_v = spec.supply.loaded_v()
        # what is never written to, so that a branch shares it
        shared = (spec, spec.pump, spec.valve, spec.liquid, spec.manifold, spec.sections,
                  self._main, self._faults)
        self._shared = {id(part): part for part in shared}

    def branch(self) -> Foresight:
        """A copy in the same state, to be run ahead by itself."""
        return copy.deepcopy(self, dict(self._shared))

    def __deepcopy__(self, memo: dict[int, object]) -> Foresight:
        other = object.__new__(Foresight)
        other.__dict__.update(self.__dict__)
        for part in ("_pump", "_manifold", "_sections"):
            setattr(other, part, copy.deepcopy(getattr(self, part), memo))
        return other

    @property
    def valve_position(self) -> float:
        """Of the regulating valve's ball, 0 closed to 1 open; 0 without one."""
        return self._pump.valve.ball if isinstance(self._pump, RegulatedPump) else 0.0

    @property
    def flow_m3_s(self) -> float:
        """Out of all orifices."""
        return self._sections.conductance * self._manifold.root_pa05

    def see_supply(self, board_mv: int) -> None:
        """Take what the board reads at the end of a tick: the pump's current pulls it down."""
        self._supply_v = board_mv / 1e3 + self._spec.supply.resistance_ohm * self._pump.battery_a

    def advance(self, actuation: Actuation) -> list[float]:
        """Live on for a tick with these pins; what each section has let out, mL."""
        pump, manifold, sections = self._pump, self._manifold, self._sections
        pump.drive(actuation, self._supply_v, self._spec.supply.resistance_ohm)
        manifold.air_m3 = self._spec.manifold.air_m3 + self._faults.air_m3
        if actuation.section_mask != self._mask:
            self._mask = actuation.section_mask
            sections.drive(self._mask)
        before = list(sections.volume_m3)
        self._renew_resistances()
        for _ in range(SUBSTEPS):
            if sections.moving:
                sections.move(SUBSTEP_S, manifold.root_pa05)
            pump.step(manifold.pressure_pa, SUBSTEP_S)
            manifold.step(pump, sections.conductance, SUBSTEP_S)
            sections.release(manifold.root_pa05 * SUBSTEP_S)
        return [(now - then) / ML_M3
                for now, then in zip(sections.volume_m3, before, strict=True)]

    def _renew_resistances(self) -> None:
        pump, manifold, sections = self._pump, self._manifold, self._sections
        flow = self.flow_m3_s
        main = pump.main_flow_m3_s(manifold.pressure_pa)
        if abs(main - self._main_at_m3_s) > RENEWAL_SHARE * self._main_at_m3_s:
            pump.main_resistance = self._main.resistance(main)
            self._main_at_m3_s = main
        if abs(flow - self._hoses_at_m3_s) > RENEWAL_SHARE * self._hoses_at_m3_s:
            sections.refresh(manifold.root_pa05)
            self._hoses_at_m3_s = flow
