"""What the meter should read while a regulating valve is on its way: as late as the machine is.

The oracle is the exact answer of a delay and a first-order lag to a ramp that lasts: the same ramp,
later by the delay and the lag (any textbook of control).
"""

from rate_control.predictor import Predictor
from rate_control.settings import build
from rate_control.units import BYPASS_VALVE, INLINE_VALVE, TICK_MS

SLOPE_UL_S = 10000  # in a tick
TICKS = 60
TOLERANCE_MS = 2


def late_ms(**values):
    """By how much the model is behind a ramp of the reckoned position, after it has lasted."""
    settings, problems = build(values)
    assert problems == [], problems
    model = Predictor(settings)
    model.take_width(settings.total_width_mm())
    expected = 0
    for tick in range(TICKS):
        expected = model.step(SLOPE_UL_S * tick)
    return (SLOPE_UL_S * (TICKS - 1) - expected) * TICK_MS / SLOPE_UL_S


def test_valve_on_its_way_is_expected_as_late_as_it_is():
    """Whatever part of a tick the delay ends with; the motor's run-on is reckoned before it runs.

    What is read in a tick is of the tick before at the earliest.
    """
    for actuator in (INLINE_VALVE, BYPASS_VALVE):
        for delay_ms in (0, 10, 24, 25, 30, 49, 50, 60, 74, 75, 99, 100):
            for lag_ms in (50, 85, 300):
                for run_on_ms in (0, 15, 25):
                    found = late_ms(actuator=actuator, loop_delay_ms=delay_ms, loop_lag_ms=lag_ms,
                                    valve_min_pulse_ms=20 + run_on_ms, valve_lost_ms=20)
                    wanted = max(delay_ms + lag_ms + run_on_ms, TICK_MS)
                    assert abs(found - wanted) <= TOLERANCE_MS, (delay_ms, lag_ms, run_on_ms)


def test_shortest_pulse_that_was_made_longer_is_no_run_on():
    found = late_ms(actuator=INLINE_VALVE, loop_delay_ms=50, loop_lag_ms=100,
                    valve_min_pulse_ms=500, valve_lost_ms=20)
    assert abs(found - 50 - 100 - TICK_MS) <= TOLERANCE_MS


def test_no_delay_and_the_shortest_lag_with_few_sections_open_stay_within_the_step():
    """The model never goes beyond where it is going."""
    settings, problems = build({"actuator": BYPASS_VALVE, "loop_delay_ms": 0, "loop_lag_ms": 20,
                                "valve_min_pulse_ms": 20, "valve_lost_ms": 40})
    assert problems == [], problems
    for width_mm in (settings.total_width_mm(), 50):
        model = Predictor(settings)
        model.take_width(width_mm)
        assert 0 <= SLOPE_UL_S - max(model.step(SLOPE_UL_S) for _ in range(10 * TICKS)) <= 4
