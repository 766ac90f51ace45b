"""Ground-speed sensor: true speed, slip and noise in, pulses out."""

from __future__ import annotations

import math
from random import Random

from host_sim.plant.pulses import PulseTrain
from host_sim.plant.spec import GroundSpec


class GroundSensor(PulseTrain):
    """Senses v (1 + slip) + n, where n is noise of the first order, and nothing below a limit.

    Slip of a driven wheel makes it read high. The noise keeps its variance and correlation
    time whatever the interval between two calls.
    """

    __slots__ = ("_noise_m_s", "_rng", "_sensed_m_s", "_spec")

    def __init__(self, spec: GroundSpec, rng: Random, start_us: int, phase: float = 0.0) -> None:
        super().__init__(start_us, phase)
        self._spec = spec
        self._rng = rng
        self._noise_m_s = 0.0
        self._sensed_m_s = 0.0

    def step(self, speed_m_s: float, start_us: int, span_s: float) -> None:
        """The sensed speed goes linearly to that of `speed_m_s` within `span_s`."""
        spec = self._spec
        sensed = speed_m_s * (1.0 + spec.slip_share)
        if spec.noise_m_s > 0.0:
            keep = math.exp(-span_s / spec.noise_s)
            fresh = spec.noise_m_s * math.sqrt(1.0 - keep * keep)
            self._noise_m_s = keep * self._noise_m_s + self._rng.gauss(0.0, fresh)
            sensed += self._noise_m_s
        if sensed < spec.blank_m_s or speed_m_s <= 0.0:
            sensed = 0.0
        first, self._sensed_m_s = self._sensed_m_s, sensed
        if first > 0.0 or sensed > 0.0:
            per_m = spec.pulses_per_m
            self.advance_ramp(per_m * first, per_m * sensed, start_us, span_s)

    def silence(self) -> None:
        """The signal is lost: nothing is counted, and a later step starts from rest."""
        self._sensed_m_s = 0.0
