"""The sections of the bar: valves that take time, hoses and orifices in series."""

from __future__ import annotations

import math

from host_sim.plant import spec
from host_sim.plant.spec import orifice_conductance
from host_sim.plant.units import BAR_PA

WATER_KG_M3 = 998.2


class Sections:
    """All sections hang on one manifold pressure; each passes k_i sqrt(P - Pc).

    Square-root law of orifices; in series 1/k^2 adds up, in parallel k. While no valve moves,
    each section has a fixed part of the flow, so its volume is settled only when asked for.
    """

    __slots__ = ("_area", "_closing_per_s", "_opening_per_s", "_orifices", "_root_s", "_target",
                 "_valve", "conductance", "moving", "parts", "volume_m3")

    def __init__(self, spec: spec.Sections, liquid: spec.Liquid) -> None:
        density_factor = math.sqrt(WATER_KG_M3 / liquid.density_kg_m3)
        one = orifice_conductance(spec.orifice_flow_m3_s, spec.orifice_pressure_pa)
        self._orifices = [
            one * density_factor * count * wear
            for count, wear in zip(spec.orifice_count, spec.spread_out("wear"), strict=True)
        ]
        self._valve = orifice_conductance(spec.valve_flow_m3_s, BAR_PA) * density_factor
        self._opening_per_s = 1.0 / spec.open_s
        self._closing_per_s = 1.0 / spec.close_s
        self._area = [0.0] * spec.count  # of the valve, 0 closed to 1 open
        self._target = [0.0] * spec.count
        self._root_s = 0.0  # integral of sqrt(P - Pc) not yet settled
        self.parts = [0.0] * spec.count  # k_i
        self.conductance = 0.0
        self.volume_m3 = [0.0] * spec.count
        self.moving = False

    def drive(self, mask: int) -> None:
        """Bit i set drives valve i open, clear drives it closed."""
        self._target = [float(mask >> i & 1) for i in range(len(self._target))]
        self.moving = self._target != self._area

    def move(self, span_s: float) -> None:
        """Let the valves move for `span_s`; the area changes in proportion to time."""
        self.settle()
        for i, (area, target) in enumerate(zip(self._area, self._target, strict=True)):
            if area < target:
                self._area[i] = min(area + span_s * self._opening_per_s, 1.0)
            elif area > target:
                self._area[i] = max(area - span_s * self._closing_per_s, 0.0)
        self.refresh()
        self.moving = self._target != self._area

    def refresh(self) -> None:
        """Work out what each section passes with its valve as it stands."""
        for i, area in enumerate(self._area):
            self.parts[i] = series(area * self._valve, self._orifices[i])
        self.conductance = sum(self.parts)

    def release(self, root_s: float) -> None:
        """Let out the liquid of an integral of sqrt(P - Pc) over time."""
        self._root_s += root_s

    def settle(self) -> None:
        """Bring `volume_m3` up to date."""
        if self._root_s > 0.0:
            for i, part in enumerate(self.parts):
                self.volume_m3[i] += part * self._root_s
            self._root_s = 0.0


def series(first: float, second: float) -> float:
    """Conductance of two square-root resistances in series: 1/k^2 adds up."""
    if first <= 0.0 or second <= 0.0:
        return 0.0
    return first * second / math.sqrt(first * first + second * second)
