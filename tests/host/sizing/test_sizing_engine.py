"""Sizing: hydraulics against closed forms, SciPy and the twin; windows; sizes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from host_sim.common import units
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.steady import steady_state
from host_sim.sizing import handbook
from host_sim.sizing.engine import best_size, coverage, iso_coverage, operating_point
from host_sim.sizing.limits import ASKED, flow_window, rate_window, speed_window
from host_sim.sizing.machine import (
    PUMP_CLASSES,
    Meter,
    Outlet,
    Pattern,
    Pump,
    SizedMachine,
    Valve,
    iso_outlet,
)
from tests.host.sizing.sizing_examples import BAR, BARE, FULL, L_MIN, ask, si
from tests.support import handbook as oracle

positive = st.floats(0.1, 10)


def test_flow_per_outlet_of_a_published_example() -> None:
    """20 GPA, 4 mph, 20 in: 0.27 GPM. Cornell Cooperative Extension 7.6 (Grapes 2024),
    https://cropandpestguides.cce.cornell.edu/Guidelines/2024/Grapes/index63.aspx
    """
    machine = replace(BARE, spacing_m=si("width_mm", "20 in"))
    point = operating_point(machine, si("rate_ml_ha", "20 gal/ac"), si("speed_mm_s", "4 mph"))
    assert f"{units.shown('flow_ul_s', point.outlet_flow_m3_s, True):.2f}" == "0.27"
    assert point.total_flow_m3_s == pytest.approx(20 * point.outlet_flow_m3_s)


def test_rate_at_a_pressure_of_a_published_example() -> None:
    """Size 03 at 30 psi, 4 mph, 20 in: 0.26 GPM and 19.3 GPA (same source)."""
    at_30_psi = si("pressure_pa", "30 psi")
    machine = replace(
        BARE,
        outlet=iso_outlet("03", (at_30_psi, si("pressure_pa", "60 psi"))),
        spacing_m=si("width_mm", "20 in"),
    )
    lowest_flow = flow_window(machine, machine.whole).low.value
    lowest_rate = rate_window(machine, si("speed_mm_s", "4 mph"), machine.whole).low.value
    assert f"{units.shown('flow_ul_s', lowest_flow, True):.2f}" == "0.26"
    assert f"{units.shown('rate_ml_ha', lowest_rate, True):.1f}" == "19.3"


def test_operating_flow_agrees_with_the_handbook_formula() -> None:
    point = operating_point(BARE, si("rate_ml_ha", "150 L/ha"), si("speed_mm_s", "9 km/h"))
    assert point.total_flow_m3_s / L_MIN == pytest.approx(oracle.flow_l_min(150, 9, 10))


def test_pump_classes() -> None:
    """The two points that each class was fitted to, at 12 V (orders of magnitude, from memory)."""
    for name, open_flow, flow, pressure in (
        ("S", 5.0, 3.2, 2.8),
        ("M", 11.3, 6.7, 2.8),
        ("L", 19.0, 12.0, 4.1),
    ):
        pump = PUMP_CLASSES[name]
        assert pump.flow_at(0) / L_MIN == pytest.approx(open_flow)
        assert pump.flow_at(pressure * BAR) / L_MIN == pytest.approx(flow)


def test_pump_meets_orifice_in_closed_form() -> None:
    """Q = 11.3 - 4.6/2.8 P meets Q = 4 sqrt(P) (L/min, bar) where sqrt(P) solves a quadratic."""
    outlet = Outlet("k = 4", 4 * L_MIN, 1 * BAR, (0.5 * BAR, 9 * BAR))
    machine = SizedMachine(outlet, 0.5, (1,), pump=PUMP_CLASSES["M"])
    slope = 4.6 / 2.8
    root = (-4 + (16 + 4 * slope * 11.3) ** 0.5) / (2 * slope)
    flow = machine.pump_limit_m3_s(machine.whole)
    assert flow / L_MIN == pytest.approx(4 * root)
    assert machine.pump_pressure_pa(flow, machine.whole) / BAR == pytest.approx(root**2)


@given(open_flow=positive, drop=st.floats(0, 0.9), k=positive, check=st.floats(0, 1), loss=positive)
def test_pump_limit_against_scipy(
    open_flow: float, drop: float, k: float, check: float, loss: float
) -> None:
    machine = replace(
        BARE,
        outlet=Outlet("k", k * L_MIN, BAR, (BAR, 4 * BAR)),
        check_pa=check * BAR,
        pump=Pump.from_points(
            "p", 20 * open_flow * L_MIN, 20 * open_flow * (1 - drop) * L_MIN, BAR
        ),
        section_valve=Valve(10 * L_MIN, loss * BAR),
        regulating_valve=Valve(50 * L_MIN, loss * BAR),
    )
    pattern = machine.whole

    def surplus(flow: float) -> float:
        section, total = 8 * flow, 20 * flow
        pressure = check * BAR + BAR * (flow / (k * L_MIN)) ** 2
        pressure += loss * BAR * ((section / (10 * L_MIN)) ** 2 + (total / (50 * L_MIN)) ** 2)
        line = machine.pump.open_flow_m3_s - machine.pump.slope_m3_s_pa * pressure
        return (line - total) / L_MIN

    if surplus(0) <= 0:
        assert machine.pump_limit_m3_s(pattern) == 0
    else:
        expected = brentq(surplus, 0, open_flow * L_MIN * 1.01, xtol=1e-18)
        assert machine.pump_limit_m3_s(pattern) == pytest.approx(expected, rel=1e-6)


def test_pump_limit_is_where_the_twin_comes_to_rest() -> None:
    """The simulated machine flat out, short hoses, hard 12 V supply, no relief valve."""
    spec = machine_spec(
        "electric_m",
        manifold={"main_m": 0.0, "relief_pa": 0.0},
        sections={"hose_m": [0.0]},
        supply={"open_v": 12.0, "resistance_ohm": 0.0},
        liquid={"density_kg_m3": 1000.0},
    )
    rest = steady_state(spec, 1.0, 0b111)
    sections = spec.sections
    machine = SizedMachine(
        Outlet("o", sections.orifice_flow_m3_s, sections.orifice_pressure_pa, (BAR, 4 * BAR)),
        0.5,
        tuple(int(count) for count in sections.orifice_count),
        check_pa=sections.check_pa,
        pump=PUMP_CLASSES["M"],
        section_valve=Valve(sections.valve_flow_m3_s, BAR),
    )
    total = machine.pump_limit_m3_s(machine.whole) * machine.whole.outlets
    # Unlike here, the twin lets section valves of unlike sections share unequally.
    assert total == pytest.approx(rest.flow_m3_s, rel=0.005)


def test_density_acts_on_the_orifice_and_not_on_the_meter() -> None:
    metered = replace(BARE, meter=Meter(450e3, (18 * L_MIN, 19 * L_MIN)))
    heavy = replace(metered, density_kg_m3=1280)
    by_outlet = [flow_window(m, m.smallest).low for m in (replace(BARE, density_kg_m3=1280), BARE)]
    assert {limit.part for limit in by_outlet} == {"outlet"}
    assert by_outlet[0].value * 1.28**0.5 == pytest.approx(by_outlet[1].value)
    by_meter = [flow_window(m, m.whole).low for m in (heavy, metered)]
    assert {limit.part for limit in by_meter} == {"meter"}
    assert by_meter[0].value == by_meter[1].value


@given(rate=st.floats(30, 400), share=st.floats(0.001, 0.999), sg=st.floats(0.8, 1.5))
def test_window_holds_inside_and_breaks_outside(rate: float, share: float, sg: float) -> None:
    machine = replace(FULL, density_kg_m3=1000 * sg)
    rate_m = rate * 1e-7
    window = speed_window(machine, rate_m, machine.whole)
    low, high = window.low.value, window.high.value
    assert operating_point(machine, rate_m, low + share * (high - low)).beyond == ()
    assert window.low.part in operating_point(machine, rate_m, low * 0.999).beyond
    assert window.high.part in operating_point(machine, rate_m, high * 1.001).beyond


@given(speed=st.floats(1, 8))
def test_rate_and_speed_windows_are_two_views_of_one_limit(speed: float) -> None:
    rates = rate_window(FULL, speed, FULL.whole)
    for end, side in ((rates.low, "low"), (rates.high, "high")):
        speeds = speed_window(FULL, end.value, FULL.whole)
        assert getattr(speeds, side).value == pytest.approx(speed)
        assert getattr(speeds, side).part == end.part


PARTS_THAT_LIMIT = {
    "pump": {"pump": Pump("p", 10 * L_MIN, 0.0)},
    "relief valve": {"relief_pa": 2 * BAR},
    "section valve": {"section_valve": Valve(6 * L_MIN, 0.0)},
    "regulating valve": {"regulating_valve": Valve(15 * L_MIN, 0.0)},
    "meter": {"meter": Meter(450e3, (1 * L_MIN, 15 * L_MIN))},
    "flow pulses": {"meter": Meter(50e6, None)},
}


@pytest.mark.parametrize("part", PARTS_THAT_LIMIT)
def test_each_part_can_be_what_limits_first(part: str) -> None:
    machine = replace(BARE, **PARTS_THAT_LIMIT[part])
    assert speed_window(machine, 100e-7, machine.whole).high.part == part


def test_slow_speed_pulses_limit_the_speed_itself() -> None:
    machine = replace(BARE, speed_pulses_per_m=0.5)  # 2 Hz at 4 m/s
    window = speed_window(machine, 100e-7, machine.whole)
    assert (window.low.part, window.low.value) == ("speed pulses", pytest.approx(4.0))
    assert rate_window(machine, 3.9, machine.whole).empty


def test_the_smallest_section_alone_raises_the_meters_slow_end() -> None:
    machine = replace(BARE, outlet=iso_outlet("02", (1, 4 * BAR)), meter=FULL.meter)
    whole, alone = (speed_window(machine, 100e-7, p) for p in (machine.whole, machine.smallest))
    assert whole.low.part == alone.low.part == "meter"
    assert alone.low.value == pytest.approx(whole.low.value * 20 / 6)
    assert machine.smallest == Pattern("section 1 alone", (6,))


def test_coverage_of_the_asked_range() -> None:
    # Size 03 passes 0.684 to 1.367 L/min at 1 to 4 bar: 100 L/ha from 8.2 to 16.4 km/h.
    assert coverage(BARE, ask("9 km/h to 16 km/h", "100 L/ha")).fits == "all"
    partly = coverage(BARE, ask("6 km/h to 12 km/h", "100 L/ha"))
    assert partly.fits == "part"
    assert (partly.windows[0].low.part, partly.windows[0].high.part) == ("outlet", ASKED)
    assert partly.windows[0].low.value * 3.6 == pytest.approx(8.21, abs=0.01)
    assert coverage(BARE, ask("3 km/h to 6 km/h", "100 L/ha")).fits == "none"


def test_sizes_that_would_do() -> None:
    """200 L/ha at 8 to 10 km/h takes 1.333 to 1.667 L/min, 3.0 to 3.8 bar for size 03 at most."""
    done = iso_coverage(BARE, ask("8 km/h to 10 km/h", "200 L/ha"))
    fits = [each.machine.outlet.name for each in done if each.fits == "all"]
    expected = [
        size
        for size in handbook.ISO_10625_COLOURS
        if handbook.orifice_pressure(handbook.size_flow_gal_min(size), 40, 1.3333 / 3.785411784)
        >= 14.504
        and handbook.orifice_pressure(handbook.size_flow_gal_min(size), 40, 1.6667 / 3.785411784)
        <= 58.016
    ]
    assert fits == expected == ["04", "05"]


def test_best_size_does_most() -> None:
    asked = ask("6 km/h to 12 km/h", "100 L/ha", "150 L/ha")
    best = best_size(BARE, asked)
    assert best.outlet.name == "03"
    assert coverage(best, asked).merit == max(each.merit for each in iso_coverage(BARE, asked))


def test_best_size_keeps_away_from_the_limits() -> None:
    """100 L/ha at 8 km/h is 0.667 L/min: 015, 02 and 025 pass it between 1 and 4 bar."""
    asked = ask("8 km/h to 8 km/h", "100 L/ha")
    done = [each for each in iso_coverage(BARE, asked) if each.fits == "all"]
    pressures = {
        each.machine.outlet.name: each.machine.outlet.pressure_pa(0.6667 * L_MIN, 1.0) / BAR
        for each in done
    }
    assert pressures == pytest.approx({"015": 3.80, "02": 2.14, "025": 1.37}, abs=0.01)
    assert best_size(BARE, asked).outlet.name == "02"
