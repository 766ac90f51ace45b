"""The pressure node: stored liquid between the pump and the orifices."""

from __future__ import annotations

import math

from host_sim.plant import spec


class Manifold:
    """One hydraulic capacitor, C dP/dt = (a - b P) - k sqrt(P - Pc) - relief.

    The pump side is a line, `a - b P`, the orifices follow the square-root law behind check
    valves that open at Pc (0 flow below). A backward Euler step is then a quadratic in
    x = sqrt(P - Pc) and is solved exactly, so that any step is stable and the volume balance
    holds to rounding.
    """

    __slots__ = ("_after_meter_share", "_check_pa", "_compliance_m3_pa", "_relief_pa",
                 "_relief_slope", "entering_m3_s", "pressure_pa", "root_pa05")

    def __init__(self, spec: spec.Manifold, check_pa: float) -> None:
        self._compliance_m3_pa = spec.compliance_m3_pa
        self._after_meter_share = spec.after_meter_share
        self._check_pa = check_pa
        self._relief_pa = spec.relief_pa if spec.relief_pa > 0.0 else math.inf
        self._relief_slope = spec.relief_slope_m3_s_pa
        self.pressure_pa = 0.0
        self.root_pa05 = 0.0  # sqrt(P - Pc): times k it is the orifices' flow
        self.entering_m3_s = 0.0  # through the flow meter

    def step(self, source: float, slope: float, conductance: float, span_s: float) -> None:
        """Let `span_s` pass with supply `source - slope P` (m3/s) and orifices `conductance`."""
        before = self.pressure_pa
        check = self._check_pa
        per_s = self._compliance_m3_pa / span_s
        stiffness = per_s + slope
        excess = per_s * before + source - stiffness * check
        root, pressure = _solve(stiffness, excess, conductance, check)
        if pressure > self._relief_pa:
            excess += self._relief_slope * (self._relief_pa - check)
            root, pressure = _solve(stiffness + self._relief_slope, excess, conductance, check)
        self.pressure_pa = pressure
        self.root_pa05 = root
        stored = per_s * (pressure - before) * self._after_meter_share
        entering = conductance * root + stored
        self.entering_m3_s = entering if entering > 0.0 else 0.0


def _solve(
    stiffness: float, excess: float, conductance: float, check_pa: float
) -> tuple[float, float]:
    """Root x >= 0 of stiffness x^2 + conductance x = excess, and the pressure with it."""
    if excess <= 0.0:
        return 0.0, max(check_pa + excess / stiffness, 0.0)
    spread = math.sqrt(conductance * conductance + 4.0 * stiffness * excess)
    root = 2.0 * excess / (conductance + spread)
    return root, check_pa + root * root
