"""Simulated time: it moves only when told to."""

from __future__ import annotations

from rate_control.intmath import LIMIT

US_PER_S = 1_000_000
WRAP_US = LIMIT + 1  # 2**30, the period of the board's clock
START_US = WRAP_US - 10_000_000  # 10 s before the wrap, so that every run crosses it


class VirtualClock:
    """Microseconds of simulated time.

    `total_us` never wraps; `now_us` is what a board's clock shows, 0..2**30 - 1. `elapsed_us`
    is the time since the run began.
    """

    def __init__(self, start_us: int = START_US) -> None:
        self._start_us = start_us
        self.total_us = start_us

    @property
    def now_us(self) -> int:
        return self.total_us & LIMIT

    @property
    def elapsed_us(self) -> int:
        return self.total_us - self._start_us

    def advance(self, step_us: int) -> None:
        """Move on by step_us, which is not negative."""
        if step_us < 0:
            raise ValueError(f"time cannot run backwards: {step_us} us")
        self.total_us += step_us
