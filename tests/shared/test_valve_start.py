"""How long a start of a valve's motor takes: learned from pulses that are not answered."""

from rate_control.settings import build
from rate_control.units import INLINE_VALVE, TICK_MS
from rate_control.valve_start import LONGER_MS, MORE_MS_MOST, SHORTER_MS, ValveStart

MEASURED_MS = 40
TARGET_UL_S = 640000
LOOK_TICKS = (2 * (200 + 400) + 500) // TICK_MS + 1


def learner():
    settings, problems = build({"actuator": INLINE_VALVE, "valve_lost_ms": MEASURED_MS,
                                "loop_delay_ms": 200, "loop_lag_ms": 400,
                                "settling_time_ms": 3000})
    assert problems == [], problems
    return ValveStart(settings)


def look(start, flow_ul_s, ticks=LOOK_TICKS, steady=1, pulse=0):
    """Look at a flow; pulse: the direction in which the motor starts in every tick."""
    for _ in range(ticks):
        start.look(flow_ul_s, TARGET_UL_S, steady)
        if pulse:
            start.started(pulse)


def test_pulses_that_are_not_answered_grow():
    for flow, pulse in ((600000, 1), (700000, -1)):
        start = learner()
        look(start, flow, pulse=pulse)
        assert start.ms == MEASURED_MS
        look(start, flow, 1)
        assert start.ms == MEASURED_MS + LONGER_MS
        look(start, flow, 3 * LOOK_TICKS, pulse=pulse)
        assert start.ms == MEASURED_MS + 4 * LONGER_MS


def test_what_needs_no_longer_pulse_gets_none():
    near = TARGET_UL_S // 64
    for case, flow, steady, pulse in (
            ("near", TARGET_UL_S - near, 1, 1), ("near", TARGET_UL_S + near, 1, -1),
            ("answered", 600000, 0, 1), ("no pulse", 600000, 1, 0), ("going away", 600000, 1, -1)):
        start = learner()
        look(start, flow, 5 * LOOK_TICKS, steady, pulse)
        assert start.ms == MEASURED_MS, case


def test_pulses_that_went_beyond_the_target_shrink():
    start = learner()
    look(start, 600000, 10, pulse=1)
    look(start, 700000, 1)
    assert start.ms == MEASURED_MS - SHORTER_MS
    look(start, 700000, 10)  # it did not start since: nothing more to learn
    look(start, 600000, 1)
    assert start.ms == MEASURED_MS - SHORTER_MS


def test_it_stays_between_half_and_what_a_broken_motor_needs():
    start = learner()
    look(start, 600000, 100 * LOOK_TICKS, pulse=1)
    assert start.ms == MEASURED_MS + MORE_MS_MOST
    start = learner()
    for _ in range(50):
        look(start, 600000, 2, pulse=1)
        look(start, 700000, 2, pulse=-1)
    assert start.ms == MEASURED_MS // 2
