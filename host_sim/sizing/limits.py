"""What each part allows: windows of flow, speed and rate.

Rate and speed enter the hydraulics only as their product, the flow of one outlet
q = rate x speed x spacing. So every part limits q from below or from above; the pulses of
the speed sensor alone limit the speed itself. A window is the intersection.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

from host_sim.sizing.machine import Pattern, SizedMachine

ASKED = "asked range"

# Two limits that differ by less than this are the same: rounding, not physics.
SAME = 1e-9


@dataclass(frozen=True)
class Limit:
    """One end of what a part allows; `value` is a flow of one outlet, a speed or a rate."""

    part: str
    value: float


@dataclass(frozen=True)
class Window:
    """From the highest of the lower limits to the lowest of the upper ones."""

    low: Limit
    high: Limit

    @property
    def empty(self) -> bool:
        """Whether nothing is left."""
        return self.low.value > self.high.value * (1 + SAME)

    def clipped(self, low: float, high: float) -> Window:
        """What is left of it within an asked range; each end keeps the part that set it."""
        return Window(
            self.low if self.low.value > low * (1 + SAME) else Limit(ASKED, low),
            self.high if self.high.value < high * (1 - SAME) else Limit(ASKED, high),
        )

    def scaled(self, factor: float) -> Window:
        """The same window in another quantity that is proportional to this one."""
        return Window(
            replace(self.low, value=self.low.value * factor),
            replace(self.high, value=self.high.value * factor),
        )


def _value(limit: Limit) -> float:
    return limit.value


def lower_limits(machine: SizedMachine, pattern: Pattern) -> list[Limit]:
    """What keeps the flow of one outlet from being smaller."""
    outlet = machine.outlet
    limits = [Limit("outlet", outlet.flow_at(outlet.range_pa[0], machine.sg))]
    if machine.meter:
        if machine.meter.range_m3_s:
            limits.append(Limit("meter", machine.meter.range_m3_s[0] / pattern.outlets))
        slowest = machine.pulse_range_hz[0] / machine.meter.pulses_per_m3
        limits.append(Limit("flow pulses", slowest / pattern.outlets))
    return limits


def upper_limits(machine: SizedMachine, pattern: Pattern) -> list[Limit]:
    """What keeps the flow of one outlet from being larger."""
    outlet = machine.outlet
    limits = [Limit("outlet", outlet.flow_at(outlet.range_pa[1], machine.sg))]
    if machine.pump:
        limits.append(Limit("pump", machine.pump_limit_m3_s(pattern)))
    if machine.relief_pa is not None:
        limits.append(Limit("relief valve", machine.relief_limit_m3_s(pattern)))
    if machine.section_valve:
        rated = machine.section_valve.rated_m3_s
        limits.append(Limit("section valve", rated / max(pattern.counts)))
    if machine.regulating_valve:
        limits.append(
            Limit("regulating valve", machine.regulating_valve.rated_m3_s / pattern.outlets)
        )
    if machine.meter:
        if machine.meter.range_m3_s:
            limits.append(Limit("meter", machine.meter.range_m3_s[1] / pattern.outlets))
        fastest = machine.pulse_range_hz[1] / machine.meter.pulses_per_m3
        limits.append(Limit("flow pulses", fastest / pattern.outlets))
    return limits


def sensed_speeds(machine: SizedMachine) -> Window:
    """Speeds at which the speed sensor's pulses are neither too slow nor too fast."""
    low, high = (hz / machine.speed_pulses_per_m for hz in machine.pulse_range_hz)
    return Window(Limit("speed pulses", low), Limit("speed pulses", high))


def flow_window(machine: SizedMachine, pattern: Pattern) -> Window:
    """Usable flow of one outlet, m3/s."""
    return Window(
        max(lower_limits(machine, pattern), key=_value),
        min(upper_limits(machine, pattern), key=_value),
    )


def speed_window(machine: SizedMachine, rate_m: float, pattern: Pattern) -> Window:
    """Usable speed at a rate, m/s."""
    by_flow = flow_window(machine, pattern).scaled(1 / (rate_m * machine.spacing_m))
    sensed = sensed_speeds(machine)
    return Window(
        max(by_flow.low, sensed.low, key=_value), min(by_flow.high, sensed.high, key=_value)
    )


def rate_window(machine: SizedMachine, speed_m_s: float, pattern: Pattern) -> Window:
    """Usable rate at a speed, m3/m2; none if the speed itself cannot be sensed."""
    if sensed_speeds(machine).clipped(speed_m_s, speed_m_s).empty:
        return Window(Limit("speed pulses", inf), Limit("speed pulses", 0.0))
    return flow_window(machine, pattern).scaled(1 / (speed_m_s * machine.spacing_m))
