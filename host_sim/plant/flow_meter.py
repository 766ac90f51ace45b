"""Turbine flow meter: a rotor that lags the flow, stalls below a floor and gives pulses."""

from __future__ import annotations

import math

from host_sim.plant.pulses import PulseTrain
from host_sim.plant.spec import MeterSpec


class TurbineMeter(PulseTrain):
    """The rotor's flow m follows dm/dt = r (M(Q) - m).

    The liquid turns it at r = Q / q_tau, so the lag grows as 1/Q, but never slower than its
    bearings brake it, r >= 1 / coast. At rest it reads M(Q) = Q (1 - (Qf / Q)^2), zero below
    the floor Qf: drag of bearings and pick-up. Momentum balance of the rotor as in the
    literature on turbine-meter dynamics; constants are typical, from memory.
    """

    __slots__ = ("_coast_rate", "_floor_squared", "_pulses_per_m3", "_rate_per_flow", "factor",
                 "rotor_m3_s")

    def __init__(self, spec: MeterSpec, start_us: int, phase: float = 0.0) -> None:
        super().__init__(start_us, phase)
        self._pulses_per_m3 = spec.pulses_per_m3
        self._rate_per_flow = 1.0 / (spec.lag_s * spec.full_scale_m3_s)
        self._coast_rate = 1.0 / spec.coast_s
        self._floor_squared = (spec.floor_share * spec.full_scale_m3_s) ** 2
        self.factor = 1.0  # pulses over those of the rotor
        self.rotor_m3_s = 0.0

    def step(self, flow_m3_s: float, start_us: int, span_s: float) -> None:
        """Turn for `span_s` under a steady flow; exact for that flow."""
        rest = 0.0
        if flow_m3_s * flow_m3_s > self._floor_squared:
            rest = flow_m3_s - self._floor_squared / flow_m3_s
        rate = flow_m3_s * self._rate_per_flow
        if rate < self._coast_rate:
            rate = self._coast_rate
        away = self.rotor_m3_s - rest
        left = away * math.exp(-rate * span_s)
        self.rotor_m3_s = rest + left
        turned_m3 = rest * span_s + (away - left) / rate
        self.advance(self.factor * self._pulses_per_m3 * turned_m3, start_us, span_s)
