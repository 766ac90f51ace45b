"""Noise on the speed input starts nothing, and true starts are believed soon."""

from rate_control import faults
from rate_control.controller import Controller
from rate_control.interlock import APPLYING
from rate_control.intmath import LIMIT
from rate_control.records import Inputs
from rate_control.settings import build
from rate_control.units import BY_GNSS

WORK = 1 + 2 + 4 + 8 + 16
TICK_US = 50000


class Machine:
    """A machine at the moment when its controller is switched on."""

    def __init__(self, **changes):
        settings, problems = build(dict(changes, flow_missing_ms=30000))
        assert problems == [], problems
        self.controller = Controller(settings)
        self.inputs = Inputs()
        self.now_us = LIMIT - 5000000
        self.distance_mm = 0
        self.parts = 0  # of a pulse, in microseconds x hertz

    def tick(self, hertz, count=1, fix_mm_s=None):
        """Live ticks with a steady train; a report of a receiver comes before them."""
        inputs = self.inputs
        if fix_mm_s is not None:
            inputs.report(BY_GNSS, self.now_us, fix_mm_s, 1)
        for _ in range(count):
            self.now_us = (self.now_us + TICK_US) & LIMIT
            self.parts += hertz * TICK_US
            pulses = self.parts // 1000000
            self.parts %= 1000000
            if pulses:
                inputs.speed_count = (inputs.speed_count + pulses) & LIMIT
                inputs.speed_edge_us = (self.now_us - self.parts // hertz) & LIMIT
            self.controller.step(inputs, self.now_us)
            self.distance_mm += self.controller.measured.distance_mm
        return self.controller.decided.state == APPLYING

    def faults(self):
        return faults.names(self.controller.decided.faults)


class Standing(Machine):
    """The same with everything on but the speed, after ten seconds of proved standstill."""

    def __init__(self, **changes):
        super().__init__(**changes)
        self.tick(0, 5)
        self.inputs.switches = WORK
        self.tick(0, 200)
        self.distance_mm = 0


def test_a_kilohertz_starts_nothing_for_however_long():
    for ticks in (2, 10, 1200):
        machine = Standing()
        for _ in range(ticks):
            assert not machine.tick(1000)
        assert machine.distance_mm < 30, "what is not believed is no distance"
        assert ticks < 10 or machine.faults() == ["speed_jumped"]
        for _ in range(200):
            assert not machine.tick(0)
        assert machine.faults() == []


def test_a_hum_starts_nothing_at_once_and_with_few_pulses_never():
    for hertz in (50, 100):
        machine = Standing()
        for _ in range(9):
            assert not machine.tick(hertz)
        machine = Standing(speed_pulses_km=1400)
        for _ in range(1200):
            assert not machine.tick(hertz)
    machine = Standing(speed_cutoff_mm_s=600)
    for _ in range(1200):
        assert not machine.tick(50), "0.4 m/s looks like creeping, so the cut-off is above it"


def test_fifteen_metres_a_second_in_a_tick_are_not_believed():
    machine = Standing()
    for hertz in range(20, 400, 20):
        machine.tick(hertz)
    assert machine.tick(400, 20)
    target = machine.controller.decided.target_ul_s
    machine.tick(1950)
    assert machine.controller.measured.speed_mm_s == 3076
    assert machine.controller.decided.target_ul_s == target
    machine.tick(1950, 8)
    assert machine.controller.measured.speed_mm_s == 3076 and "speed_jumped" in machine.faults()
    assert machine.tick(400, 5)
    assert machine.controller.measured.speed_mm_s == 3076 and machine.faults() == []
    # 1 s of the timeout is held; then no speed counts before it can have been reached: 2 s
    states = [machine.tick(1950) for _ in range(60)]
    assert states[:19] == [True] * 19 and not any(states[21:35])


def test_a_true_start_is_believed_within_three_pulses():
    for pulses_km in (1000, 1400, 5000, 130000):
        machine = Standing(speed_pulses_km=pulses_km, speed_timeout_ms=2000)
        way_mm = speed_mm_s = 0
        while not machine.tick(speed_mm_s * pulses_km // 1000000):
            speed_mm_s = min(speed_mm_s + 150, 3000)  # 3 m/s2
            way_mm += speed_mm_s // 20
            assert way_mm < max(4 * 1000000 // pulses_km + 500, 1000), pulses_km


def test_a_signal_lost_at_speed_may_come_back_at_that_speed():
    machine = Standing()
    for hertz in range(20, 400, 20):
        machine.tick(hertz)
    machine.tick(400, 20)
    assert not machine.tick(0, 100) and machine.faults() == ["speed_lost"]
    assert machine.tick(400, 12) and machine.faults() == []


def test_switched_on_in_motion_it_waits_and_complains_of_nothing():
    for source in (0, 1):
        machine = Machine(speed_source=source)
        machine.inputs.switches = 0
        for tick in range(60):
            machine.tick(390, fix_mm_s=3000 if source and tick % 4 == 0 else None)
            assert machine.faults() == []
        assert machine.controller.measured.moving
        machine.inputs.switches = WORK
        states = [machine.tick(390, fix_mm_s=3000 if source and tick % 4 == 0 else None)
                  for tick in range(20)]
        assert states[-1]


def test_one_wild_report_of_a_receiver_starts_nothing_and_two_of_a_start_do():
    for period in (4, 20):
        machine = Standing(speed_source=1, speed_timeout_ms=2000)
        for _ in range(20):
            assert not machine.tick(0, period, fix_mm_s=20)
        assert not machine.tick(0, period, fix_mm_s=4000)
        for _ in range(5):
            assert not machine.tick(0, period, fix_mm_s=20)
        applying = [machine.tick(0, period, fix_mm_s=50 * period * step) for step in range(1, 6)]
        assert applying[-1] and not applying[0]
