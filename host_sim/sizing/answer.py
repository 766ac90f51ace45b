"""The whole answer to a request, and the notes that belong to it."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10

from host_sim.common import units
from host_sim.sizing import handbook
from host_sim.sizing.advice import advise
from host_sim.sizing.case import Finding
from host_sim.sizing.engine import Coverage, Point, coverage, iso_coverage, operating_point
from host_sim.sizing.limits import Window, rate_window, speed_window
from host_sim.sizing.machine import PUMP_CLASSES, Ask
from host_sim.sizing.request import SizingRequest
from host_sim.trials.commissioning.commission import STEP_ABOVE

# Turbine meters: +-0.5 % of reading over 10 to 1 on one K-factor.
# https://industrialmonitordirect.com/blogs/knowledgebase/understanding-turbine-flowmeter-accuracy-specifications
USUAL_TURN_DOWN = 10


@dataclass(frozen=True)
class Answer:
    """Everything that table, chart and JSON show. SI."""

    request: SizingRequest
    coverage: Coverage  # usable speed of each rate, within the asked range
    windows: list[Window]  # usable speed of each rate, whatever was asked
    points: list[list[Point]]  # for each rate, over the asked speeds
    speeds_m_s: list[float]
    rates_at: list[Window]  # usable rate at each of these speeds
    sizes: list[Coverage]  # each ISO size in place of the outlet
    findings: list[Finding]
    notes: list[str]


def solve(request: SizingRequest) -> Answer:
    """Answer a request."""
    machine, ask = request.machine, request.ask
    speeds = speed_steps(ask, request.us)
    return Answer(
        request,
        coverage(machine, ask),
        [speed_window(machine, rate, machine.whole) for rate in ask.rates_m],
        [[operating_point(machine, rate, speed) for speed in speeds] for rate in ask.rates_m],
        speeds,
        [rate_window(machine, speed, machine.whole) for speed in speeds],
        iso_coverage(machine, ask),
        advise(machine, ask, request.us),
        _notes(request),
    )


def speed_steps(ask: Ask, us: bool) -> list[float]:
    """Both asked ends and the round speeds between them, six to nine in all, m/s."""
    low, high = (units.shown("speed_mm_s", speed, us) for speed in ask.speed_m_s)
    if high <= low:
        return [ask.speed_m_s[0]]
    step = _round_step((high - low) / 7)
    first, last = floor(low / step) + 1, floor(high / step)
    between = [units.from_shown("speed_mm_s", n * step, us) for n in range(first, last + 1)]
    inner = [speed for speed in between if speed < ask.speed_m_s[1] * (1 - 1e-9)]
    return [ask.speed_m_s[0], *inner, ask.speed_m_s[1]]


def _round_step(step: float) -> float:
    """The step, or the next larger of 1, 2, 5 times a power of ten."""
    power = 10.0 ** floor(log10(step))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= step * 0.999)


def _notes(request: SizingRequest) -> list[str]:
    return [
        _density_note(request),
        *_section_notes(request),
        *_meter_notes(request),
        *_step_test_notes(request),
        *_source_notes(request),
        "Set up with clean water. Keep below the pressure rating of the weakest hose and "
        "fitting. The product label and local rules prevail.",
    ]


def _density_note(request: SizingRequest) -> str:
    machine, rate = request.machine, request.ask.rates_m[0]
    factor = handbook.density_factor(machine.sg)
    meter = "A volumetric flow meter needs no such factor."
    if "density" not in request.given:
        return (
            "Density: water assumed. For another liquid give its density: where an orifice and "
            f"its pressure decide, the factor is sqrt(SG). {meter}"
        )
    of_water = units.text("rate_ml_ha", rate * factor, request.us)
    return (
        f"Density: where an orifice and its pressure decide, the factor is sqrt({machine.sg:.3f}) "
        f"= {factor:.3f}: {units.text('rate_ml_ha', rate, request.us)} of this liquid takes the "
        f"pressure of {of_water} of water. {meter}"
    )


def _section_notes(request: SizingRequest) -> list[str]:
    """Rates whose slow end moves up when only the smallest section is on."""
    machine, ask = request.machine, request.ask
    notes = []
    for rate in ask.rates_m:
        whole = speed_window(machine, rate, machine.whole).clipped(*ask.speed_m_s)
        alone = speed_window(machine, rate, machine.smallest).clipped(*ask.speed_m_s)
        if alone.low.value > whole.low.value and not whole.empty:
            notes.append(
                f"With {machine.smallest.name}, {units.text('rate_ml_ha', rate, request.us)} is "
                f"metered from {units.text('speed_mm_s', alone.low.value, request.us)} up "
                f"({alone.low.part}). Slower, the controller coasts on its pump curve."
            )
    return notes


def _meter_notes(request: SizingRequest) -> list[str]:
    meter = request.machine.meter
    if not meter:
        return ["No flow meter given: neither its range nor its pulses were checked."]
    if not meter.range_m3_s:
        return [
            "No meter range given: only its pulse frequency was checked. A turbine holds one "
            f"K-factor over about {USUAL_TURN_DOWN} to 1."
        ]
    turn_down = meter.range_m3_s[1] / meter.range_m3_s[0]
    if turn_down > USUAL_TURN_DOWN * 1.001:
        return [
            f"The meter range given is {turn_down:.0f} to 1; a turbine holds one K-factor over "
            f"about {USUAL_TURN_DOWN} to 1."
        ]
    return []


def _step_test_notes(request: SizingRequest) -> list[str]:
    """How fast the step test can be asked to go, where it is a pump that sets the end."""
    machine, rate = request.machine, request.ask.highest[0]
    fastest = speed_window(machine, rate, machine.whole).high
    if not machine.pump or fastest.value <= 0:
        return []
    works = fastest.value / STEP_ABOVE
    return [
        f"The step test goes {100 * (STEP_ABOVE - 1):.0f} % above the flow of its speed: at "
        f"{units.text('rate_ml_ha', rate, request.us)} give it "
        f"{units.text('speed_mm_s', works, request.us)} or less. {fastest.part.capitalize()}: "
        f"{units.text('speed_mm_s', fastest.value, request.us)} at the most."
    ]


def _source_notes(request: SizingRequest) -> list[str]:
    """What in the answer is nobody's measurement."""
    notes = []
    if request.outlet_chosen:
        notes.append(
            f"No outlet given: size {request.machine.outlet.name} was taken, which does most of "
            "what is asked with the most margin."
        )
    if "outlet_pressure" not in request.given:
        low_high = " to ".join(
            units.text("pressure_pa", edge, request.us) for edge in request.machine.outlet.range_pa
        )
        notes.append(
            f"Outlet pressure {low_high} is common practice, no source: take your outlet's own."
        )
    pump = request.machine.pump
    if not pump:
        notes.append("No pump given: only the outlets' pressure limits the flow.")
    elif pump.name in PUMP_CLASSES:
        notes.append(
            f"Pump class {pump.name} stands for its kind at 12 V, for no product: give the two "
            "points of your own pump before you buy."
        )
    return notes
