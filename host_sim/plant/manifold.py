"""The pressure node: stored liquid between the pump and the orifices."""

from __future__ import annotations

import math
from typing import Protocol

from host_sim.plant.plumbing_spec import ManifoldSpec
from host_sim.plant.units import ATMOSPHERE_PA

ROUNDS = 12  # of the implicit step, where the supply's curve or the gas bends
CLOSE_PA = 2.0


class Supply(Protocol):
    """What feeds the node."""

    @property
    def curved(self) -> bool:
        """Whether the line depends on the pressure at which it is asked for."""

    def line(self, pressure_pa: float) -> tuple[float, float]:
        """Tangent (a, b) of the delivery at a pressure: a - b P, m3/s."""


class Manifold:
    """One hydraulic capacitor, C dP/dt = (a - b P) - k sqrt(P - Pc) - relief.

    The supply is a line `a - b P`, the orifices follow the square-root law behind check valves
    that open at Pc (no flow below). A backward Euler step is then a quadratic in
    x = sqrt(P - Pc) and is solved exactly, so that any step is stable and the volume balance
    holds to rounding. Curved supplies and gas are met by Newton's method around that. Gas,
    trapped or in an accumulator, follows Boyle's law P V = const (isothermal: it has seconds to
    exchange heat).
    """

    __slots__ = ("_accumulator_pa_m3", "_after_meter_share", "_check_pa", "_compliance_m3_pa",
                 "_precharge_pa", "_relief_pa", "_relief_slope", "air_m3", "entering_m3_s",
                 "pressure_pa", "root_pa05")

    def __init__(self, spec: ManifoldSpec, check_pa: float, relief_pa: float) -> None:
        """`relief_pa` 0 leaves the relief valve out, where it is part of the supply."""
        self._compliance_m3_pa = spec.compliance_m3_pa
        self._precharge_pa = spec.precharge_pa + ATMOSPHERE_PA
        self._accumulator_pa_m3 = spec.accumulator_m3 * self._precharge_pa
        self._after_meter_share = spec.after_meter_share
        self._check_pa = check_pa
        self._relief_pa = relief_pa if relief_pa > 0.0 else math.inf
        self._relief_slope = spec.relief_slope_m3_s_pa
        self.air_m3 = spec.air_m3
        self.pressure_pa = 0.0
        self.root_pa05 = 0.0  # sqrt(P - Pc): times k it is the orifices' flow
        self.entering_m3_s = 0.0  # through the flow meter

    def step(self, supply: Supply, conductance: float, span_s: float) -> None:
        """Let `span_s` pass with this supply and orifices of `conductance` k."""
        before = guess = self.pressure_pa
        check, share = self._check_pa, self._after_meter_share
        gas = self.air_m3 > 0.0 or self._accumulator_pa_m3 > 0.0
        rounds = ROUNDS if gas or supply.curved else 1
        per_s = self._compliance_m3_pa / span_s
        released = per_s * before  # m3/s if the pressure fell to zero, along the tangent
        while True:
            source, slope = supply.line(guess)
            if gas:
                per_s, released = self._gas_tangent(before, guess, span_s)
            stiffness = per_s + slope
            excess = released + source - stiffness * check
            root, pressure = _solve(stiffness, excess, conductance, check)
            if pressure > self._relief_pa:
                excess += self._relief_slope * (self._relief_pa - check)
                root, pressure = _solve(stiffness + self._relief_slope, excess, conductance, check)
            rounds -= 1
            if rounds <= 0 or -CLOSE_PA < pressure - guess < CLOSE_PA:
                break
            guess = pressure
        self.pressure_pa = pressure
        self.root_pa05 = root
        entering = conductance * root + share * (per_s * pressure - released)
        self.entering_m3_s = entering if entering > 0.0 else 0.0

    def _gas_tangent(self, before_pa: float, guess_pa: float, span_s: float) -> tuple[float, float]:
        """Storage per step as `slope P - released`, the tangent at a guess of the new pressure."""
        guess_m3, compliance = self._held(guess_pa)
        start_m3, _ = self._held(before_pa)
        slope = compliance / span_s
        return slope, (start_m3 - guess_m3) / span_s + slope * guess_pa

    def _held(self, pressure_pa: float) -> tuple[float, float]:
        """Liquid held above what is held at no pressure, and its derivative."""
        absolute = pressure_pa + ATMOSPHERE_PA
        air = self.air_m3 / absolute
        held = self._compliance_m3_pa * pressure_pa + air * pressure_pa
        compliance = self._compliance_m3_pa + air * ATMOSPHERE_PA / absolute
        if absolute > self._precharge_pa and self._accumulator_pa_m3 > 0.0:
            held += self._accumulator_pa_m3 * (1.0 / self._precharge_pa - 1.0 / absolute)
            compliance += self._accumulator_pa_m3 / (absolute * absolute)
        return held, compliance


def _solve(
    stiffness: float, excess: float, conductance: float, check_pa: float
) -> tuple[float, float]:
    """Root x >= 0 of stiffness x^2 + conductance x = excess, and the pressure with it."""
    if excess <= 0.0:
        return 0.0, max(check_pa + excess / stiffness, 0.0)
    spread = math.sqrt(conductance * conductance + 4.0 * stiffness * excess)
    root = 2.0 * excess / (conductance + spread)
    return root, check_pa + root * root
