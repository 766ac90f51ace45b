"""A speed signal that breaks off is told, whenever it does, and a machine that brakes is not.

The oracle is the mechanics of a machine that brakes evenly, and its true edges.
"""

import math
import random

import pytest

from rate_control import faults
from rate_control.believable import unseen_mm_s
from rate_control.controller import Controller
from rate_control.interlock import APPLYING, READY
from rate_control.records import Inputs
from rate_control.settings import build
from rate_control.units import BY_GNSS, TICK_US

WORK = 1 + 2 + 4 + 8 + 16
WHEELS = (130000, 1, 200), (130000, 4, 1000), (130000, 64, 1000), (20000, 4, 1000), (1400, 1, 3000)
# Half of gravity over the square of 1.207. From v = sqrt(2 a s) it stops within the way s of a
# pulse; over the pulse before, its mean was 1.207 v, and no more than that is known of it.
BRAKES_M_S2 = 3.4
START_US = 2**30 - 5 * TICK_US


def controller(**changes):
    settings, problems = build({"flow_missing_ms": 30000, "look_ahead_ms": 150} | changes)
    assert problems == []
    return Controller(settings)


class Drive:
    """Ticks over the edges of a wheel, times in seconds from the first tick on."""

    def __init__(self, control, edges_s=()):
        self.control = control
        self.inputs = Inputs()
        self.edges_s = list(edges_s)
        self.tick = 0

    def on(self, ticks, report_mm_s=None, fix=1):
        """Live so many ticks, with a report in each where one is given; return the faults told."""
        told = 0
        for _ in range(ticks):
            self.tick += 1
            now_us = (START_US + self.tick * TICK_US) % 2**30
            while self.edges_s and self.edges_s[0] <= self.tick * TICK_US / 1e6:
                self.inputs.speed_count += 1
                self.inputs.speed_edge_us = (START_US + round(self.edges_s.pop(0) * 1e6)) % 2**30
            if report_mm_s is not None:
                self.inputs.report(BY_GNSS, now_us, report_mm_s, fix)
            self.inputs.switches = WORK if self.tick > 5 else 0
            self.control.step(self.inputs, now_us)
            told |= self.control.decided.faults & faults.SPEED_LOST
        return told


def edges(pulses_km, speed_m_s, begin_s, end_s, rng):
    """Edges of an even speed, at any phase."""
    step_s = 1000 / pulses_km / speed_m_s
    first_s = begin_s + rng.random() * step_s
    return [first_s + index * step_s for index in range(math.ceil((end_s - first_s) / step_s))]


@pytest.mark.parametrize(("pulses_km", "average", "timeout_ms"), WHEELS)
def test_a_signal_that_breaks_off_is_told_at_any_phase_of_the_tick(pulses_km, average, timeout_ms):
    for seed in range(12):
        rng = random.Random(seed)
        control = controller(speed_pulses_km=pulses_km, speed_average_pulses=average,
                             speed_timeout_ms=timeout_ms)
        speed_m_s = unseen_mm_s(control.settings) / 1000 * rng.uniform(1.05, 3)
        end_s = 5 + rng.random()
        drive = Drive(control, edges(pulses_km, speed_m_s, 0, end_s, rng))
        assert not drive.on(100), seed
        assert control.interlock.state == APPLYING
        assert drive.on(100), (seed, speed_m_s, end_s)
        assert control.interlock.state == READY


@pytest.mark.parametrize(("pulses_km", "average", "timeout_ms"), WHEELS)
def test_a_machine_that_brakes_hard_has_not_lost_its_signal(
        pulses_km, average, timeout_ms):
    for seed in range(12):
        rng = random.Random(seed)
        speed_m_s, brakes_m_s2 = rng.uniform(1, 6), rng.uniform(1, BRAKES_M_S2)
        at_s = 5 + rng.random()
        all_edges = edges(pulses_km, speed_m_s, 0, at_s, rng)
        way_m = 1000 / pulses_km - (at_s - all_edges[-1]) * speed_m_s
        while (left := speed_m_s**2 - 2 * brakes_m_s2 * way_m) > 0:
            all_edges.append(at_s + (speed_m_s - math.sqrt(left)) / brakes_m_s2)
            way_m += 1000 / pulses_km
        drive = Drive(controller(speed_pulses_km=pulses_km, speed_average_pulses=average,
                                 speed_timeout_ms=timeout_ms), all_edges)
        assert not drive.on(300), (seed, speed_m_s, brakes_m_s2)


def resumed(drive, ticks, **source):
    """Count the ticks until it applies again."""
    for count in range(1, ticks):
        drive.on(1, **source)
        if drive.control.interlock.state == APPLYING:
            return count
    return None


@pytest.mark.parametrize("silent_ticks", [40, 400])
def test_work_goes_on_alike_by_wheel_and_receiver_once_the_speed_is_proved(silent_ticks):
    """Half a second and two sightings, as everywhere, however long it was silent."""
    rng = random.Random(1)
    back_s = 5 + silent_ticks / 20
    wheel = Drive(controller(), edges(130000, 3, 0, 5, rng)
                  + edges(130000, 3, back_s, back_s + 5, rng))
    receiver = Drive(controller(speed_source=BY_GNSS))
    for drive, here, gone in ((wheel, {}, {}),
                              (receiver, {"report_mm_s": 3000}, {"report_mm_s": 0, "fix": 0})):
        drive.on(100, **here)
        assert drive.control.interlock.state == APPLYING
        assert drive.on(silent_ticks, **gone)
        assert drive.control.interlock.state == READY
        assert resumed(drive, 100, **here) in (10, 11)
