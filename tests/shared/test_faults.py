"""Faults: how long each condition must last, what stays, and the thresholds that raise them."""

from rate_control import faults
from rate_control.controller import Controller
from rate_control.faults import BLOCKING, TABLE, Faults
from rate_control.interlock import APPLYING, BENCH, READY
from rate_control.plausibility import Plausibility, differ
from rate_control.records import Decided, Inputs, Measured, Request
from rate_control.settings import build
from rate_control.units import DUTY_FULL, INLINE_VALVE, PWM_PUMP

DELAYS_MS = {
    faults.FLOW_MISSING: 2500,
    faults.TOO_MUCH_FLOW: 2000,
    faults.TICK_LATE: 0,
    faults.SPEED_LOST: 0,
    faults.RATE_OFF: 4000,
    faults.AT_LIMIT: 4000,
    faults.FLOW_WHILE_OFF: 3000,
    faults.SUPPLY_LOW: 2000,
    faults.METER_NOISE: 0,
    faults.PROGRAM_FAILED: 0,
    faults.OFF_CURVE: 4000,
    faults.SPEED_DIFFERS: 5000,
    faults.SPEED_JUMPED: 250,
    faults.SWITCH_CHATTERS: 500,
    faults.NEVER_LIFTED: 500,
    faults.SECTIONS_DIFFER: 500,
}


def made(**changes):
    settings, problems = build(changes)
    assert problems == [], problems
    return settings


def test_every_fault_comes_after_its_time_and_not_a_tick_before():
    settings = made(flow_missing_ms=2500, rate_off_ms=4000)
    assert sorted(DELAYS_MS) == sorted(row[0] for row in TABLE)
    for bit, delay_ms in DELAYS_MS.items():
        watch = Faults(settings)
        for _ in range(2):  # the second time is as long as the first
            for _ in range(delay_ms // 50):
                assert watch.update(bit, 1, 1) == 0, bit
            for _ in range(5):
                assert watch.update(bit, 1, 1) == bit
            if bit & BLOCKING:
                for _ in range(5):
                    assert watch.update(0, 1, 1) == bit, "it stays while the master is on"
                for _ in range(2):
                    assert watch.update(0, 0, 0) == bit, "and until three samples prove it off"
                watch.update(0, 0, 1)
                for _ in range(2):
                    assert watch.update(0, 0, 0) == bit
                assert watch.update(0, 1, 0) == bit, "of the debounced level, too"
            assert watch.update(0, 0, 0) == 0
        for _ in range(delay_ms // 50):  # a gap begins the time anew
            assert watch.update(bit, 1, 1) == 0
        if delay_ms:
            watch.update(0, 1, 1)
            assert watch.update(bit, 1, 1) == 0


def test_every_fault_has_a_bit_without_a_gap_and_a_name():
    bits = sorted(row[0] for row in TABLE)
    assert bits == [1 << place for place in range(len(TABLE))]
    assert faults.names(faults.TICK_LATE | faults.SPEED_LOST) == ["tick_late", "speed_lost"]
    assert faults.names(0) == []


def test_a_fault_that_outlives_new_settings_needs_the_whole_proof():
    before = Faults(made())
    before.update(faults.TICK_LATE | faults.SPEED_LOST, 1, 1)
    for samples in ((0, 0), (0, 0, 1, 0, 0)):
        watch = Faults(made())
        watch.take_over(before)
        for sample in samples:
            assert watch.update(0, 0, sample) == faults.TICK_LATE
        assert watch.update(0, 0, 0) == 0


def test_faults_do_not_share_their_waiting():
    watch = Faults(made(rate_off_ms=4000))
    for _ in range(30):
        watch.update(faults.SUPPLY_LOW, 1, 1)
    for _ in range(10):
        assert watch.update(faults.SUPPLY_LOW | faults.RATE_OFF, 1, 1) == 0
    assert watch.update(faults.SUPPLY_LOW | faults.RATE_OFF, 1, 1) == faults.SUPPLY_LOW
    assert watch.update(faults.RATE_OFF, 1, 1) == 0


class Tick:
    """One tick of plausibility at work, where everything is as it should be."""

    def __init__(self, **changes):
        self.watch = Plausibility(made(**changes))
        self.measured, self.decided = Measured(), Decided()
        self.decided.state = APPLYING
        self.decided.target_ul_s = self.decided.command_ul_s = 100000
        self.decided.expected_ul_s = self.measured.flow_ul_s = 100000
        self.measured.flow_valid = self.measured.speed_valid = self.measured.speed_seen = 1
        self.measured.speed_mm_s = 3000

    def mask(self, tick_ok=True):
        return self.watch.conditions(self.measured, self.decided, tick_ok)


def test_supply_is_low_below_its_limit_where_it_is_measured():
    for supply_mv, wanted in ((0, 0), (1, 1), (9999, 1), (10000, 0), (12600, 0)):
        tick = Tick(supply_low_mv=10000)
        tick.measured.supply_mv = supply_mv
        assert tick.mask() == (faults.SUPPLY_LOW if wanted else 0), supply_mv


def test_flow_is_missing_from_the_meter_floor_on():
    for command_ul_s, state, wanted in ((4999, APPLYING, 0), (5000, APPLYING, 1),
                                        (5000, READY, 0)):
        tick = Tick(meter_floor_ul_s=5000)
        tick.measured.flow_valid = tick.measured.flow_ul_s = 0
        tick.decided.command_ul_s = command_ul_s
        tick.decided.state = state
        assert tick.mask() == (faults.FLOW_MISSING if wanted else 0), (command_ul_s, state)


def test_a_machine_at_its_limit_is_one_that_can_give_no_more():
    for saturated, wanted in ((-1, 0), (0, 0), (1, faults.AT_LIMIT)):
        tick = Tick()
        tick.decided.saturated = saturated
        assert tick.mask() == wanted


def test_off_its_curve_is_beyond_the_tolerance_either_way():
    near = 200 * 1048576 // 1000
    for trim_q20, wanted in ((near, 0), (near + 1, 1), (-near, 0), (-near - 1, 1), (0, 0)):
        tick = Tick(curve_tolerance_permille=200)
        tick.decided.trim_q20 = trim_q20
        assert tick.mask() == (faults.OFF_CURVE if wanted else 0), trim_q20


def test_speed_is_lost_where_no_machine_could_have_stopped():
    # v = sqrt(2 a s), a 5 m/s2, s one pulse and at least 25 mm: 3.162 m/s for 1 m, 0.5 m/s
    for pulses_km, limit_mm_s in ((1000, 3162), (20000, 707), (40000, 500), (130000, 500)):
        for over in (0, 1):
            tick = Tick(speed_pulses_km=pulses_km)
            tick.measured.speed_mm_s = limit_mm_s + over
            assert tick.mask() == 0
            tick.measured.speed_valid = tick.measured.speed_seen = 0
            tick.measured.speed_mm_s = 0
            assert tick.mask() == (faults.SPEED_LOST if over else 0), (pulses_km, over)


def test_speeds_differ_by_more_than_a_tenth_of_the_lower_and_a_little():
    for lower in (0, 1000, 3000):
        near = lower // 10 + 100
        for speed, other in ((lower, lower + near), (lower + near, lower)):
            assert not differ(speed, other)
        for speed, other in ((lower, lower + near + 1), (lower + near + 1, lower)):
            assert differ(speed, other)
    tick = Tick()
    tick.measured.speed_other_mm_s = 0  # one that stands says something, too
    assert tick.mask() == faults.SPEED_DIFFERS


def test_rate_is_off_beyond_the_tolerance_from_the_meter_floor_on():
    # 5 % as 51/1024, in steps of 16 uL/s: (100000 >> 4) * 51 >> 6
    for off_ul_s, wanted in ((4980, 0), (4981, 1), (-4980, 0), (-4981, 1)):
        tick = Tick(rate_tolerance_permille=50, meter_floor_ul_s=5000)
        for _ in range(41):  # a change of sections may take 2 s
            tick.mask()
        tick.measured.flow_ul_s = 100000 + off_ul_s
        assert tick.mask() == (faults.RATE_OFF if wanted else 0), off_ul_s
    for target_ul_s, wanted in ((4999, 0), (5000, 1)):
        tick = Tick(rate_tolerance_permille=50, meter_floor_ul_s=5000)
        tick.decided.target_ul_s = tick.decided.expected_ul_s = target_ul_s
        tick.measured.flow_ul_s = 0
        assert tick.mask() == (faults.RATE_OFF if wanted else 0)


def test_a_machine_far_from_its_target_has_its_way_time_each_time_it_sets_out():
    tick = Tick()
    for _ in range(2):
        tick.decided.expected_ul_s = tick.measured.flow_ul_s = 50000
        for _ in range(40):  # a pump has 2 s
            assert tick.mask() == 0
        assert tick.mask() == faults.RATE_OFF
        tick.decided.expected_ul_s = tick.measured.flow_ul_s = 100000
        assert tick.mask() == 0


def test_a_machine_is_judged_by_what_it_is_expected_to_give_once_that_is_near():
    for to_go_ul_s, judged in ((25000, 1), (25001, 0)):  # a quarter of the target
        tick = Tick()
        tick.decided.expected_ul_s = 100000 - to_go_ul_s
        tick.measured.flow_ul_s = 0
        assert tick.mask() == (faults.RATE_OFF if judged else 0)
    for to_go_ul_s, arrived in ((4980, 1), (4981, 0)):  # 5 %, as above
        tick = Tick(rate_tolerance_permille=50)
        tick.decided.expected_ul_s = 100000 - to_go_ul_s
        tick.measured.flow_ul_s = 93000
        for _ in range(40):
            assert tick.mask() == 0
        assert tick.mask() == (0 if arrived else faults.RATE_OFF)


def test_a_flow_that_falls_by_more_than_an_eighth_is_no_leak():
    for next_ul_s, wanted in ((69999, 0), (70000, faults.FLOW_WHILE_OFF)):
        tick = Tick()
        tick.decided.state = READY
        tick.measured.flow_readable = 1
        tick.measured.flow_ul_s = 80000
        assert tick.mask() == 0
        assert tick.mask() == faults.FLOW_WHILE_OFF
        tick.measured.flow_ul_s = next_ul_s
        assert tick.mask() == wanted


def test_noise_at_the_meter_is_told_for_two_seconds_after_it_but_not_on_the_bench():
    tick = Tick()
    for _ in range(3):
        tick.measured.flow_noise = 1
        assert tick.mask() == faults.METER_NOISE
    tick.measured.flow_noise = 0
    for _ in range(39):
        assert tick.mask() == faults.METER_NOISE
    assert tick.mask() == 0
    tick.measured.flow_noise = 1
    tick.decided.state = BENCH
    assert tick.mask() == 0


def test_a_speed_that_is_not_believed_is_told():
    tick = Tick()
    tick.measured.speed_jumped = 1
    assert tick.mask() == faults.SPEED_JUMPED


def test_sections_that_do_not_follow_are_told_of_a_pump_alone():
    def at(tick, width_mm, trim_percent):
        tick.decided.width_mm = width_mm
        tick.mask()  # the trim follows later
        tick.decided.trim_q20 = trim_percent * 1048576 // 100
        for _ in range(100):
            told = tick.mask()
        return told

    for actuator, wanted in ((PWM_PUMP, faults.SECTIONS_DIFFER), (INLINE_VALVE, 0)):
        tick = Tick(actuator=actuator, curve_tolerance_permille=300)
        at(tick, 3000, 0)
        assert at(tick, 2000, 25) == wanted  # more than two thirds of 30 %
        tick.decided.state = READY
        assert tick.mask() == 0
        tick.decided.state = APPLYING
        assert at(tick, 3000, 0) == 0, "a new start is no change of sections"


class Machine:
    """A controller at work, its clock and pulses steady."""

    def __init__(self, **changes):
        self.controller = Controller(made(flow_missing_ms=30000, **changes))
        self.inputs = Inputs()
        self.now_us = 0
        self.ticks(5, 0)
        self.ticks(20, 31)

    def ticks(self, count, switches, pulses=20):
        for _ in range(count):
            self.now_us += 50000
            self.inputs.switches = switches
            if pulses:
                self.inputs.speed_count += pulses
                self.inputs.speed_edge_us = self.now_us
            self.controller.step(self.inputs, self.now_us)

    def saturated(self):
        return self.controller.decided.saturated


def test_limits_of_the_demand_are_told_where_there_is_a_command():
    machine = Machine()
    request = machine.controller.request
    assert machine.saturated() == 0 and machine.controller.decided.command_ul_s
    request.regulation = Request.FIXED_DUTY
    for duty_u16, wanted in ((DUTY_FULL, 1), (DUTY_FULL - 1, 0), (1, 0), (0, -1), (30000, 0)):
        request.fixed_duty_u16 = duty_u16
        machine.ticks(1, 31)
        assert machine.saturated() == wanted, duty_u16
    request.fixed_duty_u16 = DUTY_FULL
    machine.ticks(1, 31)
    machine.ticks(1, 29)
    machine.ticks(1, 29)
    assert machine.controller.decided.state == READY
    assert machine.saturated() == 0, "nothing is commanded"


def test_supply_voltage_gets_to_its_fault():
    machine = Machine(supply_low_mv=10000)
    machine.inputs.supply_mv = 9000
    machine.ticks(41, 31)
    assert machine.controller.decided.faults & faults.SUPPLY_LOW


def test_liquid_of_the_bench_is_not_liquid_of_the_job():
    machine = Machine(meter_pulses_hl=100000)
    machine.ticks(8, 29, 1)
    machine.ticks(40, 29, 0)
    machine.controller.request.bench = 1
    machine.ticks(1, 29, 0)
    totals = machine.controller.totals

    def millilitres(register):
        return register.whole * 1000000 + register.part

    job = millilitres(totals.volume)
    for _ in range(20):
        machine.inputs.flow_count += 2
        machine.inputs.flow_edge_us = machine.now_us + 50000
        machine.ticks(1, 29, 0)
    assert millilitres(totals.volume) == job
    assert millilitres(totals.bench_volume) > 0
