"""Lets the disturbances of events come, at once or little by little, and go again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from host_sim.plant.faults import PlantFaults
from host_sim.twin.disturbances import VALVE_WORDS
from host_sim.twin.hands import Event


@dataclass(frozen=True)
class Ramp:
    """One amount on its way, evenly in time. `key` tells it from others."""

    key: str
    set: Callable[[float], None]
    first: float
    last: float
    start_s: float
    over_s: float

    def at(self, time_s: float) -> float:
        """How much there is now."""
        gone = (time_s - self.start_s) / self.over_s
        return self.last if gone >= 1.0 else self.first + gone * (self.last - self.first)


class Breaking:
    """What events do to one machine's faults."""

    def __init__(self, faults: PlantFaults) -> None:
        self._faults = faults
        self._ramps: dict[str, Ramp] = {}

    def begin(self, event: Event, time_s: float) -> None:
        """Let the disturbances of an event come. One that was on its way gives way to it."""
        faults = self._faults
        for name, value in event.faults.items():
            self._go(name, getattr(faults, name), value, event, time_s,
                     partial(setattr, faults, name))
        factors = faults.orifice_factor
        for section, factor in event.orifices.items():
            self._go(f"outlets {section}", factors[section], factor, event, time_s,
                     partial(factors.__setitem__, section))
        for section, what in event.valves.items():
            self._valve(section, what)

    def _go(self, key: str, first: float, last: float, event: Event, time_s: float,
            set_amount: Callable[[float], None]) -> None:
        self._ramps.pop(key, None)
        if event.over_s > 0.0 and not isinstance(last, bool):
            self._ramps[key] = Ramp(key, set_amount, first, last, time_s, event.over_s)
        else:
            set_amount(last)

    def _valve(self, section: int, what: str) -> None:
        """A valve has one thing the matter with it at a time."""
        faults = self._faults
        for name, _ in VALVE_WORDS.values():
            if name:
                setattr(faults, name, getattr(faults, name) & ~(1 << section))
        name, _ = VALVE_WORDS[what]
        if name:
            setattr(faults, name, getattr(faults, name) | 1 << section)

    def go_on(self, time_s: float) -> None:
        """Bring what is on its way to where it is by now."""
        if not self._ramps:
            return
        for ramp in list(self._ramps.values()):
            ramp.set(ramp.at(time_s))
            if time_s >= ramp.start_s + ramp.over_s:
                del self._ramps[ramp.key]
