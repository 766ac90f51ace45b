"""What a machine drifts by after it was tuned: one thing at a time, nothing is learned anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from host_sim.plant.spec import MachineSpec
from host_sim.plant.units import ML_M3
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario

Tables = dict[str, dict[str, Any]]

START_S = 0.015
SUPPLY_V = 1.5
WEAR = 1.05
COMPLIANCE = 1.5
AIR_ML = 20.0


def _nothing(spec: MachineSpec) -> Tables:
    return {}


@dataclass(frozen=True)
class Drift:
    """`tables` are the parameters that have changed, `faults` what acts on the machine now."""

    name: str
    words: str
    tables: Callable[[MachineSpec], Tables] = _nothing
    faults: dict[str, float] = field(default_factory=dict)
    valves_only: bool = False

    def fits(self, spec: MachineSpec) -> bool:
        """Whether a machine can drift so."""
        return spec.valve is not None or not self.valves_only

    def machine(self, spec: MachineSpec) -> MachineSpec:
        """The machine afterwards."""
        return spec.override(**self.tables(spec))

    def befall(self, scenario: Scenario) -> Scenario:
        """The same drive with the machine as it is afterwards."""
        events = [Event(self.words, at_s=0.0, faults=self.faults)] if self.faults else []
        return replace(scenario, machine=self.machine(scenario.machine),
                       events=[*events, *scenario.events])


AS_TUNED = Drift("", "as tuned")
# Sizes are chosen: what a season, a cold morning or another tractor brings.
DRIFTS = (
    Drift("start", f"the valve's motor starts {1e3 * START_S:g} ms later",
          lambda spec: {"valve": {"start_s": spec.valve_table.start_s + START_S}},
          valves_only=True),
    Drift("supply", f"the supply is {SUPPLY_V:g} V down, and a valve's motor follows it",
          faults={"supply_drop_v": SUPPLY_V, "valve_follows_supply": True}),
    Drift("wear", f"the outlets are worn by {100 * (WEAR - 1):.0f} %",
          lambda spec: {"sections": {"wear": tuple(
              WEAR * wear for wear in spec.sections.each(spec.sections.wear))}}),
    Drift("compliance", f"the hoses hold {COMPLIANCE:g} times as much",
          lambda spec: {"manifold": {
              "compliance_m3_pa": COMPLIANCE * spec.manifold.compliance_m3_pa}}),
    Drift("air", f"{AIR_ML:g} mL of air is in the line", faults={"air_m3": AIR_ML * ML_M3}),
)
