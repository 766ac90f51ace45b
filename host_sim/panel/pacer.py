"""Real time for a simulation: how far it may go by now."""

from __future__ import annotations

from collections.abc import Callable

LONGEST_S = 0.5  # of real time made good at once; the rest of a longer pause is let go


class Pacer:
    """Simulated time that runs `factor` times as fast as the clock."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self.factor = 1.0
        self._clock = clock
        self._seen_s = clock()

    def due_s(self) -> float:
        """Simulated seconds that have become due since the last call."""
        now_s = self._clock()
        span_s, self._seen_s = now_s - self._seen_s, now_s
        return min(span_s, LONGEST_S) * self.factor
