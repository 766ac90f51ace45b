"""The answer: operating points, and how much of what is asked an outlet covers."""

from __future__ import annotations

from dataclasses import dataclass, replace

from host_sim.sizing import handbook
from host_sim.sizing.limits import (
    ASKED,
    SAME,
    Window,
    flow_window,
    lower_limits,
    sensed_speeds,
    speed_window,
    upper_limits,
)
from host_sim.sizing.machine import Ask, SizedMachine, iso_outlet


@dataclass(frozen=True)
class Point:
    """The state of the whole bar at one rate and speed."""

    speed_m_s: float
    outlet_flow_m3_s: float
    total_flow_m3_s: float
    outlet_pressure_pa: float
    pump_pressure_pa: float
    pump_load: float | None  # flow over what the pump gives at that pressure
    meter_hz: float | None
    beyond: tuple[str, ...]  # parts whose limits it breaks


def operating_point(machine: SizedMachine, rate_m: float, speed_m_s: float) -> Point:
    """The bar at a rate and speed, all sections on."""
    pattern = machine.whole
    flow = rate_m * speed_m_s * machine.spacing_m
    total = flow * pattern.outlets
    pressure = machine.pump_pressure_pa(flow, pattern)
    load = None
    if machine.pump:
        available = machine.pump.flow_at(pressure)
        load = total / available if available > 0 else float("inf")
    return Point(
        speed_m_s,
        flow,
        total,
        machine.outlet.pressure_pa(flow, machine.sg),
        pressure,
        load,
        machine.meter.pulses_per_m3 * total if machine.meter else None,
        tuple(too_little(machine, flow, speed_m_s) + too_much(machine, flow, speed_m_s)),
    )


def too_little(machine: SizedMachine, outlet_flow_m3_s: float, speed_m_s: float) -> list[str]:
    """Parts for which this flow of one outlet (all sections on) or this speed is too low."""
    limits = lower_limits(machine, machine.whole)
    parts = [limit.part for limit in limits if outlet_flow_m3_s < limit.value * (1 - SAME)]
    slowest = sensed_speeds(machine).low
    return parts + [slowest.part] * (speed_m_s < slowest.value * (1 - SAME))


def too_much(machine: SizedMachine, outlet_flow_m3_s: float, speed_m_s: float) -> list[str]:
    """Parts for which this flow of one outlet (all sections on) or this speed is too high."""
    limits = upper_limits(machine, machine.whole)
    parts = [limit.part for limit in limits if outlet_flow_m3_s > limit.value * (1 + SAME)]
    fastest = sensed_speeds(machine).high
    return parts + [fastest.part] * (speed_m_s > fastest.value * (1 + SAME))


@dataclass(frozen=True)
class Coverage:
    """How much of what is asked one outlet does, the other parts being as they are."""

    machine: SizedMachine
    windows: tuple[Window, ...]  # usable speed for each rate, within the asked range
    margin: float  # how far the asked flows stay from the limits, as a ratio; below 1: beyond

    @property
    def fits(self) -> str:
        """`"all"` of the asked speeds at every rate, `"none"` at some rate, or `"part"`."""
        if any(window.empty for window in self.windows):
            return "none"
        whole = all(w.low.part == w.high.part == ASKED for w in self.windows)
        return "all" if whole else "part"

    @property
    def merit(self) -> tuple[int, float, float]:
        """For comparing: rates that are usable, over how much speed in all, with what margin."""
        usable = [w for w in self.windows if not w.empty]
        return len(usable), sum(w.high.value - w.low.value for w in usable), self.margin


def coverage(machine: SizedMachine, ask: Ask) -> Coverage:
    """What a machine does of what is asked, all sections on."""
    windows = (speed_window(machine, rate, machine.whole) for rate in ask.rates_m)
    usable = tuple(window.clipped(*ask.speed_m_s) for window in windows)
    flows = flow_window(machine, machine.whole)
    least, most = (rate * speed * machine.spacing_m for rate, speed in (ask.lowest, ask.highest))
    return Coverage(machine, usable, min(least / flows.low.value, flows.high.value / most))


def iso_coverage(machine: SizedMachine, ask: Ask) -> list[Coverage]:
    """The same for each ISO 10625 size in place of the outlet."""
    sizes = (iso_outlet(size, machine.outlet.range_pa) for size in handbook.ISO_10625_COLOURS)
    return [coverage(replace(machine, outlet=outlet), ask) for outlet in sizes]


def best_size(machine: SizedMachine, ask: Ask) -> SizedMachine:
    """The machine with the ISO size that does most of what is asked, with the most margin."""
    return max(iso_coverage(machine, ask), key=lambda done: done.merit).machine
