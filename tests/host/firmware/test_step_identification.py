"""The step test's arithmetic against exact responses: of a step, and of a valve's ramp."""

import numpy as np
import pytest

from rate_control.procedures.step_fit import behind_ramp_ms
from rate_control.procedures.step_test import STEPS, StepTest
from rate_control.settings import build
from rate_control.units import TICK_MS


def finished(values, response_of):
    """A step test that saw this exact response, in parts of the curve's step, at every step."""
    settings, problems = build(values)
    assert not problems
    procedure = StepTest(settings, {"settling_time_ms": 1500, "speed_mm_s": 2500})
    procedure._hold_ticks = len(procedure.response)
    seen_s = (np.arange(len(procedure.response)) + 1) * TICK_MS / 1e3
    height_ul_s = STEPS * (procedure.flows_ul_s[1] - procedure.flows_ul_s[0])
    procedure.response = [round(height_ul_s * part) for part in response_of(seen_s)]
    return procedure


def test_first_order_machine_with_delay():
    """K = .5, tau = .8 s, theta = .3 s after a step of 10: y(t) = 5 (1 - exp(-(t - .3) / .8)).

    The sampled values are those of the closed form; the two-point method recovers .800 and .300
    from it up to the interpolation between ticks.
    """
    times_s = np.array([0.5, 0.8, 1.1, 1.5, 2.0, 3.0])
    known = [1.10600, 2.32369, 3.16060, 3.88435, 4.40284, 4.82891]
    assert 5 * first_order(times_s, 0.3, 0.8) == pytest.approx(known, abs=5e-6)
    procedure = finished({}, lambda t: first_order(t, 0.3, 0.8))
    delay_ms, lag_ms = procedure.delay_and_lag_ms()
    assert lag_ms == pytest.approx(800, abs=12)
    assert delay_ms == pytest.approx(300, abs=12)


def first_order(time_s, delay_s, lag_s):
    """Step response of a first-order lag with delay."""
    return 1.0 - np.exp(-np.maximum(time_s - delay_s, 0.0) / lag_s)


def behind_ramp(time_s, ramp_s, lag_s):
    """Response of a first-order lag to a ramp from 0 to 1: an integral of its step response."""
    fine_s = np.linspace(0.0, time_s[-1], 20_001)
    shape = np.clip(fine_s / ramp_s, 0.0, 1.0)
    slope = np.gradient(shape, fine_s)
    lagged = np.convolve(slope, first_order(fine_s, 0.0, lag_s))[: len(fine_s)]
    return np.interp(time_s, fine_s, lagged * (fine_s[1] - fine_s[0]))


@pytest.mark.parametrize("lag_share", [0.15, 0.3, 0.5, 0.8, 1.2, 2.0])
def test_lag_behind_a_ramp(lag_share):
    ramp_s = 0.5
    time_s = np.linspace(0.0, 8.0, 8001)
    response = behind_ramp(time_s, ramp_s, lag_share * ramp_s)
    t28, t63 = (np.interp(part, response, time_s) for part in (0.2835, 0.6321))
    found_ms = behind_ramp_ms(round(1500 * (t63 - t28)), round(1000 * ramp_s))
    assert found_ms == pytest.approx(1000 * lag_share * ramp_s, rel=0.06, abs=12)


def test_valve_machine_does_not_take_the_travel_of_its_motor_for_a_lag():
    delay_s, lag_s = 0.06, 0.12
    values = {"actuator": 1, "valve_travel_ms": 4000, "valve_lost_ms": 25, "valve_play_ms": 90,
              "curve_flow_ul_s": [30_000 * point for point in range(9)],
              "curve_duty_u16": [8191 * point for point in range(9)]}
    probe = finished(values, lambda t: first_order(t, 0.3, 0.8))
    ramp_s = (probe.demands_u16[1] - probe.demands_u16[0]) / 65535 * 4.0
    assert ramp_s > 2 * lag_s

    def response(time_s):
        late_s = np.maximum(time_s - delay_s - 0.115, 1e-9)
        return np.where(late_s > 1e-9, behind_ramp(np.append(late_s, 30.0), ramp_s, lag_s)[:-1], 0)

    delay_ms, lag_ms = finished(values, response).delay_and_lag_ms()
    assert lag_ms == pytest.approx(1000 * lag_s, abs=25)
    assert delay_ms == pytest.approx(1000 * delay_s, abs=25)
