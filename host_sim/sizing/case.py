"""One end of the asked range, in numbers and in words; and what is found wrong there."""

from __future__ import annotations

from dataclasses import dataclass, replace

from host_sim.common import units
from host_sim.sizing.machine import Ask, SizedMachine


@dataclass(frozen=True)
class Finding:
    """A part that cannot do what is asked: what is wrong, and what would do."""

    part: str
    problem: str
    remedy: str


@dataclass(frozen=True)
class SizingCase:
    """One end of the asked range, in numbers and in words; and what is found wrong there."""

    machine: SizedMachine
    ask: Ask
    us: bool
    high: bool

    def other_end(self, high: bool) -> SizingCase:
        """The case of the high or the low end."""
        return replace(self, high=high)

    @property
    def rate_and_speed(self) -> tuple[float, float]:
        """The rate and speed at this end."""
        return self.ask.highest if self.high else self.ask.lowest

    @property
    def flow(self) -> float:
        """Flow of one outlet at this end, m3/s."""
        rate, speed = self.rate_and_speed
        return rate * speed * self.machine.spacing_m

    @property
    def total(self) -> float:
        """Flow of all outlets at this end, m3/s."""
        return self.flow * self.machine.whole.outlets

    @property
    def when(self) -> str:
        """`"200.0 L/ha at 12.0 km/h"`."""
        rate, speed = self.rate_and_speed
        return f"{self.show('rate_ml_ha', rate)} at {self.show('speed_mm_s', speed)}"

    def show(self, quantity: str, value: float) -> str:
        """A value with its unit, in the system of the request."""
        return units.text(quantity, value, self.us)
