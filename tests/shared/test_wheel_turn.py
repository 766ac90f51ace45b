"""The swing of a wheel that runs out of centre: learned by its place, taken out, and nothing else.

The oracle is a wheel of radius r (1 - e sin a) on the ground, rolled edge by edge.
"""

import math

from rate_control.ground_speed import GroundSpeed
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Measured
from rate_control.settings import build

TICK_US = 50000
TURN_PULSES = 260
MM_PER_PULSE = 1000 / 130


class Wheel:
    """A wheel with an eccentricity, a ground speed in every tick, and what is made of them."""

    def __init__(self, share, **changes):
        settings, problems = build({"speed_turn_pulses": TURN_PULSES} | changes)
        assert problems == [], problems
        self.share = share
        self.ground = GroundSpeed(settings)
        self.inputs = Inputs()
        self.measured = Measured()
        self.now_us = LIMIT - 10 * TICK_US
        self.left_us = 0.0  # of the way to the next edge, at the end of the last tick

    def tick(self, speed_mm_s):
        """Roll for a tick; return what the speed is taken for."""
        inputs = self.inputs
        at_us = self.left_us
        while speed_mm_s:
            angle = 2 * math.pi * inputs.speed_count / TURN_PULSES
            step_us = MM_PER_PULSE * (1 - self.share * math.sin(angle)) / speed_mm_s * 1e6
            if at_us + step_us > TICK_US:
                break
            at_us += step_us
            inputs.speed_count = (inputs.speed_count + 1) & LIMIT
            inputs.speed_edge_us = (self.now_us + int(at_us)) & LIMIT
        self.left_us = at_us - TICK_US
        self.now_us = (self.now_us + TICK_US) & LIMIT
        self.ground.update(inputs, self.now_us, self.measured)
        return self.measured.speed_mm_s

    def swing(self, speed_mm_s, ticks):
        """Return how far the speed goes beside the true one, the most in so many ticks."""
        return max(abs(self.tick(speed_mm_s) - speed_mm_s) for _ in range(ticks))


def test_an_eccentric_wheel_is_known_after_a_minute_and_at_any_speed():
    for speed_mm_s in (1000, 3500, 6000):
        wheel = Wheel(0.03)
        wheel.tick(speed_mm_s)
        assert wheel.swing(speed_mm_s, 100) > 0.025 * speed_mm_s
        wheel.swing(speed_mm_s, 2400)
        assert wheel.swing(speed_mm_s, 200) < 0.006 * speed_mm_s, speed_mm_s
    assert wheel.swing(3500, 400) < 0.012 * 3500, "what was learned fits another speed"


def test_without_the_setting_the_swing_stays():
    wheel = Wheel(0.03, speed_turn_pulses=0)
    wheel.swing(3500, 1200)
    assert wheel.swing(3500, 200) > 0.025 * 3500


def test_a_round_wheel_and_ground_that_swings_as_fast_are_left_alone():
    # 1.6 Hz of rough ground where a turn takes 1.75 Hz: 5.6 turns later it is in step again
    wheel = Wheel(0.0)
    worst = 0
    for tick in range(2400):
        speed_mm_s = 3500 * (1 + 0.03 * math.sin(2 * math.pi * 1.6 * tick * 0.05))
        seen_mm_s = wheel.tick(speed_mm_s)
        if tick > 40:
            worst = max(worst, abs(seen_mm_s - speed_mm_s))
    assert worst < 0.012 * 3500


def test_a_change_of_speed_and_a_standstill_do_not_unlearn_it():
    wheel = Wheel(0.03)
    wheel.swing(3500, 2400)
    for speed_mm_s in range(3500, 0, -100):
        wheel.tick(speed_mm_s)
    for _ in range(100):
        assert wheel.tick(0) <= 100
    for speed_mm_s in range(0, 3500, 100):
        wheel.tick(speed_mm_s)
    assert wheel.swing(3500, 100) < 0.012 * 3500


def test_where_a_window_holds_more_than_a_third_of_a_turn_nothing_is_touched():
    # 18 m/s are 117 pulses in a tick, more than a third of 260
    wheel, plain = Wheel(0.0), Wheel(0.0, speed_turn_pulses=0)
    for tick in range(200):
        speed_mm_s = min(150 * tick, 18000)
        assert wheel.tick(speed_mm_s) == plain.tick(speed_mm_s) or speed_mm_s < 13500
    assert plain.measured.speed_mm_s > 17000
