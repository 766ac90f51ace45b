"""One speed from a wheel that slips and a receiver that is late: what each of them is good for."""

import math

from rate_control.ground_speed import GroundSpeed
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Measured
from rate_control.settings import build
from rate_control.units import BY_BOTH, BY_GNSS, SPEED_MAX_MM_S
from tests.support.chance import Chance

TICK_US = 50000
LATE_TICKS = 4  # 0.2 s: makers say 0.15 to 0.25 s


class Machine:
    """A wheel and a receiver on one machine, and what is made of both."""

    def __init__(self, source=BY_BOTH, **changes):
        settings, problems = build({"speed_source": source, "speed_pulses_km": 130000} | changes)
        assert problems == [], problems
        self.ground = GroundSpeed(settings)
        self.inputs = Inputs()
        self.measured = Measured()
        self.now_us = LIMIT - 30 * TICK_US
        self.ticks = 0
        self.way_mm = 0.0  # that the rim of the wheel has turned
        self.past_mm_s = [0.0] * LATE_TICKS

    def tick(self, true_mm_s, slip=0.0, told_mm_s=None, reports=True):
        """Drive for a tick; told_mm_s is what the receiver says in place of the truth."""
        inputs = self.inputs
        self.ticks += 1
        wheel_mm_s = true_mm_s * (1 + slip)
        self.way_mm += wheel_mm_s * TICK_US / 1e6
        edges = int(self.way_mm * 0.13)
        if edges != inputs.speed_count:
            inputs.speed_count = edges
            late_us = (self.way_mm - edges / 0.13) / wheel_mm_s * 1e6
            inputs.speed_edge_us = (self.now_us + TICK_US - int(late_us)) & LIMIT
        self.now_us = (self.now_us + TICK_US) & LIMIT
        self.past_mm_s.append(true_mm_s)
        if reports and self.ticks % 4 == 0:
            told = self.past_mm_s[-1 - LATE_TICKS] if told_mm_s is None else told_mm_s
            inputs.report(BY_GNSS, self.now_us, round(told), 1)
        self.ground.update(inputs, self.now_us, self.measured)
        return self.measured.speed_mm_s

    def drive(self, ticks, true_mm_s=3000, **more):
        """Return the errors of so many ticks, as parts of the true speed."""
        return [self.tick(true_mm_s, **more) / true_mm_s - 1 for _ in range(ticks)]


def rms(errors):
    return (sum(error * error for error in errors) / len(errors)) ** 0.5


def test_steady_slip_is_learned_and_stays_where_the_receiver_is_lost():
    for slip in (0.0, 0.08, 0.15, -0.05):
        machine = Machine()
        machine.drive(400, slip=slip)
        assert rms(machine.drive(100, slip=slip)) < 0.003, slip
        machine.drive(2400, slip=slip)
        assert rms(machine.drive(400, slip=slip, reports=False)) < 0.01, slip
        for _ in range(60):
            machine.tick(0)
        assert machine.measured.standing
        machine.drive(20, 400, slip=slip, reports=False)
        machine.drive(10, 900, slip=slip, reports=False)
        assert rms(machine.drive(100, 900, slip=slip, reports=False)) < 0.015, "after a stop too"


def test_bursts_of_slip_cost_less_than_half():
    # 5 to 15 % for half a second to two seconds, as the twin has them
    bursts = [(slip, ticks) for slip in (0.05, 0.1, 0.15) for ticks in (10, 25, 40)]
    errors = {0: [], BY_BOTH: []}
    for slip, ticks in bursts:
        for source, seen in errors.items():
            machine = Machine(source)
            machine.drive(400)
            seen += machine.drive(ticks, slip=slip) + machine.drive(40)
    assert rms(errors[0]) > 0.05 and rms(errors[BY_BOTH]) < 0.5 * rms(errors[0])


def test_what_is_a_change_of_speed_is_seen_at_once():
    machine = Machine()
    machine.drive(400, 2000, slip=0.05)
    for step in range(1, 31):  # 1.2 m/s2
        speed_mm_s = 2000 + 60 * step
        assert abs(machine.tick(speed_mm_s, slip=0.05) - speed_mm_s) < 70, step


def test_rough_ground_is_not_taken_for_slip():
    machine = Machine()
    errors = []
    for tick in range(600):  # 0.19 m/s rms at 2 Hz: up to 3.4 m/s2, where even ground has 2 at most
        true_mm_s = 3000 + 270 * math.sin(2 * math.pi * 2 * tick * 0.05)
        errors.append(machine.tick(true_mm_s) / true_mm_s - 1)
    assert rms(errors[200:]) < 0.006
    machine.drive(400)
    assert max(machine.drive(1, slip=0.15)) < 0.04, "and even ground is even ground again"


def test_a_report_of_the_third_or_the_fourth_tick_back_moves_nothing():
    for late_ticks in (3, 4):
        machine, wheel = Machine(), Machine()
        machine.drive(400)
        wheel.drive(400, reports=False)
        speeds_mm_s = [3000] * late_ticks + [3000 + 80 * step for step in range(30)]  # 1.6 m/s2
        for told_mm_s, true_mm_s in zip(speeds_mm_s, speeds_mm_s[late_ticks:]):
            speed_mm_s = machine.tick(true_mm_s, told_mm_s=told_mm_s)
            assert abs(speed_mm_s - wheel.tick(true_mm_s, reports=False)) < 12, late_ticks


def test_noise_of_the_receiver_hardly_moves_the_speed():
    machine = Machine()
    machine.drive(400)
    chance = Chance(1)
    told_mm_s = [2820 + sum(chance.below(31) for _ in range(12)) for _ in range(2000)]  # 31 rms
    errors = [machine.tick(3000, told_mm_s=told) / 3000 - 1 for told in told_mm_s]
    assert rms(errors) < 0.003  # 0.006 where all of it is taken for a difference


def test_a_jump_of_either_source_does_not_move_the_speed():
    wheel = Machine()
    wheel.drive(400)
    assert max(wheel.drive(4, slip=0.6)) < 0.25, "of a jump of 60 % a tick lets 0.1 m/s through"
    for told_mm_s in (0, 1500, 4500, 12000):
        receiver = Machine()
        receiver.drive(400)
        errors = receiver.drive(100, told_mm_s=told_mm_s)
        assert max(abs(error) for error in errors) < 0.005, told_mm_s
    for told_mm_s in (2400, 3600):  # not so far that it cannot be slip: a fix that jumped once
        receiver = Machine()
        receiver.drive(400)
        errors = receiver.drive(4, told_mm_s=told_mm_s) + receiver.drive(40)
        assert max(abs(error) for error in errors) < 0.03, told_mm_s


def test_the_way_is_that_of_the_speed_and_not_of_a_wheel_that_slips():
    machine = Machine()
    machine.drive(400, slip=0.1)
    way_mm = 0
    for _ in range(400):
        machine.tick(3000, slip=0.1)
        way_mm += machine.measured.distance_mm
    assert abs(way_mm - 60000) < 200


def test_permits_stay_with_the_wheel():
    machine = Machine()
    machine.drive(400)
    assert machine.measured.moving and machine.measured.speed_valid
    for _ in range(40):
        machine.now_us = (machine.now_us + TICK_US) & LIMIT
        machine.inputs.report(BY_GNSS, machine.now_us, 3000, 1)
        machine.ground.update(machine.inputs, machine.now_us, machine.measured)
    assert not machine.measured.moving and not machine.measured.speed_valid
    assert not machine.measured.standing, "the receiver sees that it does not stand"


def test_no_speed_leaves_its_range():
    machine = Machine()
    for step in range(800):
        speed_mm_s = min(50 * step, 18000)
        machine.tick(speed_mm_s, told_mm_s=speed_mm_s * 1.2)
        assert 0 <= machine.measured.speed_mm_s <= SPEED_MAX_MM_S
