"""The static solver, its inverse and the live machine check one another."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.spec import PWM_PUMP
from host_sim.plant.steady import Conditions, flow_range, inverse_actuation, steady_state


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_live_machine_settles_where_the_solver_says(kind, share):
    """One solves the static laws by bracketing, the other waits 20 s of backward Euler.

    2e-4: hoses are renewed when the flow has changed by 1 %, of a loss of some per cent.
    """
    spec = machine_spec(kind)
    mask = (1 << spec.sections.count) - 1
    low, high = flow_range(spec, mask)
    flow = low + share * (high - low)
    rising = Conditions(branch=1)
    setting = inverse_actuation(spec, flow, mask, rising)
    rest = steady_state(spec, setting, mask, rising)
    assert rest.flow_m3_s == pytest.approx(flow, rel=5e-5)
    duty = setting if spec.actuator == PWM_PUMP else 0.0
    if spec.valve:
        spec = spec.override(valve={"start_share": setting})
    machine = Machine(spec)
    machine.advance(20_000_000, Actuation(duty, 0, mask), 0.0)
    assert machine.flow_m3_s == pytest.approx(flow, rel=2e-4)
    assert machine.pressure_pa == pytest.approx(rest.pressure_pa, rel=4e-4)
    assert machine.section_flow_m3_s == pytest.approx(list(rest.section_flow_m3_s), rel=2e-4)


@settings(max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(list(KINDS)), share=st.floats(0.03, 0.97), mask=st.integers(1, 63),
    volts=st.floats(11.5, 14.4), shaft=st.floats(0.8, 1.1),
)
def test_inverse_undoes_the_solver(kind, share, mask, volts, shaft):
    """Any section mask, supply and shaft speed, wherever the flow can be reached at all.

    1e-4: below 1e-4 Pa a square-root law is a straight line, which shows as that much.
    """
    spec = machine_spec(kind)
    mask &= (1 << spec.sections.count) - 1
    if not mask:
        return
    at = Conditions(volts, shaft)
    low, high = flow_range(spec, mask, at)
    flow = low + share * (high - low)
    back = steady_state(spec, inverse_actuation(spec, flow, mask, at), mask, at)
    assert back.flow_m3_s == pytest.approx(flow, rel=1e-4, abs=1e-9)


def test_more_of_the_setting_gives_more_flow_in_the_valves_own_direction():
    for kind in KINDS:
        spec = machine_spec(kind)
        flows = [steady_state(spec, setting / 10, 1).flow_m3_s for setting in range(11)]
        rising = all(a <= b for a, b in zip(flows, flows[1:], strict=False))
        falling = all(a >= b for a, b in zip(flows, flows[1:], strict=False))
        assert falling if spec.actuator == "bypass_valve" else rising


def test_no_flow_asked_gives_the_setting_of_least_flow():
    for kind in KINDS:
        spec = machine_spec(kind)
        least = 1.0 if spec.actuator == "bypass_valve" else 0.0
        assert inverse_actuation(spec, 0.0, 1) == least
        assert inverse_actuation(spec, 1e-4, 0) == least


def test_what_cannot_be_reached_is_clipped():
    spec = machine_spec("electric_m")
    assert inverse_actuation(spec, 1.0, 7) == 1.0
    low_battery = Conditions(supply_v=6.0)
    assert inverse_actuation(spec, 1.4e-4, 7, low_battery) == 1.0


@pytest.mark.parametrize("kind", ["electric_m", "hydraulic", "bypass_pd"])
def test_inverse_reckons_with_a_blowing_relief_valve(kind):
    """Above the relief valve's opening the pump gives more than the bar lets out."""
    spec = machine_spec(kind, manifold={"relief_bar": 0.7, "relief_slope_l_min_bar": 4.0})
    open_mask = (1 << spec.sections.count) - 1
    rest = steady_state(spec, 0.5, open_mask)
    assert rest.pressure_pa > 0.75e5
    assert inverse_actuation(spec, rest.flow_m3_s, open_mask) == pytest.approx(0.5, abs=1e-4)


def test_unbounded_pressure_is_refused():
    spec = machine_spec("bypass_pd", pump={"leak_m3_s_pa": 0.0}, manifold={"relief_pa": 0.0})
    with pytest.raises(ValueError, match="section_mask"):
        steady_state(spec, 0.0, 0)


@pytest.mark.parametrize("kind", ["electric_s", "electric_m", "electric_l"])
def test_no_pump_gives_more_power_than_it_takes(kind):
    """Hydraulic power stays below electric power; 28-36 % at the loaded point of the data sheet."""
    spec = machine_spec(kind)
    mask = (1 << spec.sections.count) - 1
    for duty in (0.3, 0.6, 1.0):
        machine = Machine(spec)
        machine.advance(10_000_000, Actuation(duty, 0, mask), 0.0)
        electric_w = duty * machine.motor_current_a * machine.supply_mv * 1e-3
        assert 0.0 < machine.flow_m3_s * machine.pressure_pa < 0.6 * electric_w
