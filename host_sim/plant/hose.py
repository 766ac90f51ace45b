"""Pressure loss of a hose and its fittings."""

from __future__ import annotations

import math

from host_sim.plant.plumbing_spec import LiquidSpec

LAMINAR, TURBULENT = 2300.0, 4000.0
MOST_FRICTION = 0.1  # below Re 640 the loss is a few pascal and only its finiteness matters


class Hose:
    """Darcy-Weisbach: dP = (f L / D + K) rho v^2 / 2, f by Hagen-Poiseuille or Colebrook-White."""

    __slots__ = ("_area_m2", "_fittings", "_half_density", "_length_over_bore",
                 "_relative_roughness", "_reynolds_per_flow", "viscosity_factor")

    def __init__(
        self, length_m: float, bore_m: float, roughness_m: float, fittings: float,
        liquid: LiquidSpec,
    ) -> None:
        """A hose of no length has no loss, whatever its fittings."""
        self.viscosity_factor = 1.0
        self._area_m2 = math.pi * bore_m * bore_m / 4.0
        self._length_over_bore = length_m / bore_m
        self._relative_roughness = roughness_m / bore_m
        self._fittings = fittings if length_m > 0.0 else 0.0
        self._half_density = 0.5 * liquid.density_kg_m3
        self._reynolds_per_flow = (
            liquid.density_kg_m3 * bore_m / (liquid.viscosity_pa_s * self._area_m2)
        )

    def resistance(self, flow_m3_s: float) -> float:
        """dP / Q^2 at this flow, Pa s2/m6; varies slowly, as the friction factor does."""
        if self._length_over_bore == 0.0:
            return 0.0
        reynolds = flow_m3_s * self._reynolds_per_flow / self.viscosity_factor
        friction = friction_factor(reynolds, self._relative_roughness)
        loss = friction * self._length_over_bore + self._fittings
        return loss * self._half_density / (self._area_m2 * self._area_m2)


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy's f: 64 / Re if laminar, Colebrook-White if turbulent, a straight line between."""
    if reynolds < LAMINAR:
        return min(64.0 / reynolds, MOST_FRICTION) if reynolds > 0.0 else MOST_FRICTION
    if reynolds < TURBULENT:
        low = 64.0 / LAMINAR
        share = (reynolds - LAMINAR) / (TURBULENT - LAMINAR)
        return low + share * (_colebrook(TURBULENT, relative_roughness) - low)
    return _colebrook(reynolds, relative_roughness)


def _colebrook(reynolds: float, relative_roughness: float) -> float:
    """1/sqrt(f) = -2 log10(e/3.7 + 2.51 / (Re sqrt(f))), by iteration from Swamee-Jain.

    Two rounds from a start within 1 % leave less than 1e-5: each shrinks the error tenfold.
    """
    rough = relative_roughness / 3.7
    root = -2.0 * math.log10(rough + 5.74 / reynolds**0.9)
    for _ in range(3):
        root = -2.0 * math.log10(rough + 2.51 * root / reynolds)
    return 1.0 / (root * root)
