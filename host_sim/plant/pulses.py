"""A phase-continuous pulse output: a running count and the time of the last edge."""

from __future__ import annotations

import math


class PulseTrain:
    """Counts whole units of a growing phase and dates each crossing.

    `count` is exact: the integral of the frequency since the start, rounded down.
    `last_edge_us` is the unwrapped time of the newest edge, rounded down to a microsecond
    as a capture register would; until the first edge it is the start time.
    """

    __slots__ = ("count", "last_edge_us", "phase")

    def __init__(self, start_us: int, phase: float = 0.0) -> None:
        """Start with part of a unit, 0 <= phase < 1, already gone."""
        self.count = 0
        self.last_edge_us = start_us
        self.phase = phase

    def advance(self, units: float, start_us: int, span_s: float) -> None:
        """Let the phase grow evenly by `units` >= 0 from `start_us` over `span_s`."""
        phase = self.phase + units
        if phase >= 1.0:
            edges = int(phase)
            self.count += edges
            self.last_edge_us = start_us + int((edges - self.phase) / units * span_s * 1e6)
            phase -= edges
        self.phase = phase

    def advance_ramp(self, first: float, last: float, start_us: int, span_s: float) -> None:
        """As `advance`, with a frequency going linearly from `first` to `last` (1/s, >= 0)."""
        phase = self.phase + 0.5 * (first + last) * span_s
        if phase >= 1.0:
            edges = int(phase)
            needed = edges - self.phase
            # needed = first t + slope t^2 / 2, in the form that does not cancel
            slope = (last - first) / span_s
            root = math.sqrt(max(first * first + 2.0 * slope * needed, 0.0))
            elapsed_s = min(2.0 * needed / (first + root), span_s)
            self.count += edges
            self.last_edge_us = start_us + int(elapsed_s * 1e6)
            phase -= edges
        self.phase = phase
