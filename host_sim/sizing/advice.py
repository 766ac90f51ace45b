"""Words for a machine that cannot do what is asked: which part, why, and what would do.

Each part is judged at the end of the asked range that it breaks: the highest rate at the
highest speed takes the most flow, the lowest at the lowest the least.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from host_sim.sizing.advice_hydraulics import outlet_finding, pump_finding, relief_finding
from host_sim.sizing.case import Finding, SizingCase
from host_sim.sizing.engine import too_little, too_much
from host_sim.sizing.machine import Ask, SizedMachine


def advise(machine: SizedMachine, ask: Ask, us: bool) -> list[Finding]:
    """What is too small or too big for what is asked; [] if nothing is."""
    findings: list[Finding] = []
    for high, broken in ((True, too_much), (False, too_little)):
        case = SizingCase(machine, ask, us, high)
        for part in broken(machine, case.flow, case.rate_and_speed[1]):
            _add(findings, _FINDINGS[part](case))
    return findings


def _add(findings: list[Finding], found: Finding | None) -> None:
    """Append a finding; one part that breaks both ends with one remedy is one finding."""
    if found is None:
        return
    for i, other in enumerate(findings):
        if (other.part, other.remedy) == (found.part, found.remedy):
            findings[i] = replace(other, problem=f"{other.problem} {found.problem}")
            return
    findings.append(found)


def _section_valve(case: SizingCase) -> Finding:
    valve, most = case.machine.section_valve, max(case.machine.sections)
    assert valve is not None
    return _too_small_valve(case, "section valve", case.flow * most, valve.rated_m3_s)


def _regulating_valve(case: SizingCase) -> Finding:
    valve = case.machine.regulating_valve
    assert valve is not None
    return _too_small_valve(case, "regulating valve", case.total, valve.rated_m3_s)


def _too_small_valve(case: SizingCase, part: str, flow: float, rated: float) -> Finding:
    need = case.show("flow_ul_s", flow)
    return Finding(
        part,
        f"The {part} is too small: {case.when} takes {need} through it, and it is rated for "
        f"{case.show('flow_ul_s', rated)}.",
        f"one rated for at least {need}.",
    )


def _meter(case: SizingCase) -> Finding:
    meter = case.machine.meter
    assert meter is not None and meter.range_m3_s is not None
    fault, edge = ("small", "ends") if case.high else ("big", "begins")
    low, high = case.other_end(False).total, case.other_end(True).total
    return Finding(
        "meter",
        f"The meter is too {fault}: {case.when} takes {case.show('flow_ul_s', case.total)} "
        f"through it, and its range {edge} at "
        f"{case.show('flow_ul_s', meter.range_m3_s[case.high])}.",
        f"a meter that reads from {case.show('flow_ul_s', low)} to "
        f"{case.show('flow_ul_s', high)} ({high / low:.1f} to 1).",
    )


def _flow_pulses(case: SizingCase) -> Finding:
    meter = case.machine.meter
    assert meter is not None
    return _pulses(case, "flow pulses", "meter", case.total, meter.pulses_per_m3)


def _speed_pulses(case: SizingCase) -> Finding:
    speed = case.rate_and_speed[1]
    return _pulses(case, "speed pulses", "sensor", speed, case.machine.speed_pulses_per_m)


def _pulses(case: SizingCase, part: str, what: str, per_s: float, pulses: float) -> Finding:
    """`pulses` of a `what` for each m3 or m, of which `per_s` pass in a second."""
    edge, frequency = case.machine.pulse_range_hz[case.high], pulses * per_s
    if case.high:
        fault, bound, why = "fast", "most", f"more than the {edge:g} Hz that are counted safely"
    else:
        fault, bound, why = "slow", "least", f"so a new reading takes {1 / frequency:.2g} s"
    quantity = "pulses_per_hl" if what == "meter" else "pulses_per_km"
    return Finding(
        part,
        f"The {part} are too {fault}: {case.when} gives {frequency:.3g} Hz, {why}.",
        f"a {what} with at {bound} {case.show(quantity, edge / per_s)}.",
    )


_FINDINGS: dict[str, Callable[[SizingCase], Finding | None]] = {
    "outlet": outlet_finding,
    "pump": pump_finding,
    "relief valve": relief_finding,
    "regulating valve": _regulating_valve,
    "section valve": _section_valve,
    "meter": _meter,
    "flow pulses": _flow_pulses,
    "speed pulses": _speed_pulses,
}
