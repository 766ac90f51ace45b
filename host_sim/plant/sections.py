"""The sections of the bar: valves that take time, hoses and orifices in series."""

from __future__ import annotations

import math

from host_sim.plant.faults import SLOW_TIMES
from host_sim.plant.hose import Hose
from host_sim.plant.plumbing_spec import LiquidSpec, SectionsSpec
from host_sim.plant.units import BAR_PA

WATER_KG_M3 = 998.2


def conductance(flow_m3_s: float, pressure_pa: float, liquid: LiquidSpec) -> float:
    """k of the orifice law Q = k sqrt(P), from the flow of water at a pressure.

    Q = Cd A sqrt(2 P / rho), so another liquid passes sqrt(rho_water / rho) of it.
    """
    return flow_m3_s * math.sqrt(WATER_KG_M3 / liquid.density_kg_m3 / pressure_pa)


class PlantSections:
    """All sections hang on one manifold pressure; each passes k_i sqrt(P - Pc).

    Square-root resistances in series add as 1/k^2, in parallel as k. While no valve moves,
    each section has a fixed part of the flow, so its volume is settled only when asked for.
    """

    __slots__ = ("_area", "_closing_per_s", "_hoses", "_opening_per_s", "_orifices", "_root_s",
                 "_target", "_times", "_valve", "_volume_m3", "conductance", "factor",
                 "moving", "parts")

    def __init__(self, spec: SectionsSpec, liquid: LiquidSpec) -> None:
        one = conductance(spec.orifice_flow_m3_s, spec.orifice_pressure_pa, liquid)
        self._orifices = [
            one * count * wear
            for count, wear in zip(spec.orifice_count, spec.each(spec.wear), strict=True)
        ]
        self._hoses = [
            Hose(length_m, spec.hose_bore_m, spec.roughness_m, spec.hose_fittings, liquid)
            for length_m in spec.each(spec.hose_m)
        ]
        self._valve = conductance(spec.valve_flow_m3_s, BAR_PA, liquid)
        self._opening_per_s = 1.0 / spec.open_s
        self._closing_per_s = 1.0 / spec.close_s
        self._area = [0.0] * spec.count  # of the valve, 0 closed to 1 open
        self._target = [0.0] * spec.count
        self._times = [1.0] * spec.count  # how much longer each valve takes than it should
        self._root_s = 0.0  # integral of sqrt(P - Pc) not yet settled
        self._volume_m3 = [0.0] * spec.count
        self.factor = [1.0] * spec.count  # of the orifices: 0 blocked, above 1 worn
        self.parts = [0.0] * spec.count  # k_i
        self.conductance = 0.0
        self.moving = False

    def slow_down(self, mask: int) -> None:
        """Valves whose bit is set take SLOW_TIMES as long as the others."""
        self._times = [SLOW_TIMES if mask >> i & 1 else 1.0 for i in range(len(self._times))]

    def warm(self, viscosity_factor: float) -> None:
        """The liquid in the hoses has so many times the viscosity that it was filled in with."""
        for hose in self._hoses:
            hose.viscosity_factor = viscosity_factor

    def drive(self, mask: int) -> None:
        """Bit i set drives valve i open, clear drives it closed."""
        self._target = [float(mask >> i & 1) for i in range(len(self._target))]
        self.moving = self._target != self._area

    def move(self, span_s: float, root_pa05: float) -> None:
        """Let the valves move for `span_s`; the area changes in proportion to time."""
        for i, (area, target) in enumerate(zip(self._area, self._target, strict=True)):
            if area < target:
                self._area[i] = min(area + span_s * self._opening_per_s / self._times[i], 1.0)
            elif area > target:
                self._area[i] = max(area - span_s * self._closing_per_s / self._times[i], 0.0)
        self.refresh(root_pa05)
        self.moving = self._target != self._area

    def refresh(self, root_pa05: float) -> None:
        """Work out what each section passes, its hose's friction at the flow that it has now."""
        self._settle()
        for i, hose in enumerate(self._hoses):
            area = self._area[i] * self._valve
            orifices = self._orifices[i] * self.factor[i]
            if area <= 0.0 or orifices <= 0.0:
                self.parts[i] = 0.0
                continue
            resistance = hose.resistance(self.parts[i] * root_pa05)
            resistance += 1.0 / (area * area) + 1.0 / (orifices * orifices)
            self.parts[i] = 1.0 / math.sqrt(resistance)
        self.conductance = sum(self.parts)

    def release(self, root_s: float) -> None:
        """Let out the liquid of an integral of sqrt(P - Pc) over time."""
        self._root_s += root_s

    @property
    def volume_m3(self) -> list[float]:
        """Let out by each since the start."""
        self._settle()
        return self._volume_m3

    def _settle(self) -> None:
        if self._root_s > 0.0:
            for i, part in enumerate(self.parts):
                self._volume_m3[i] += part * self._root_s
            self._root_s = 0.0
