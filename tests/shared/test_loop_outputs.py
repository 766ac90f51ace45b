"""What each loop gives to the pins, a slew or pulses, and what it learns from the meter."""

from rate_control.pump_curve import PumpCurve
from rate_control.pump_loop import PumpLoop
from rate_control.records import Decided, Measured, Outputs
from rate_control.settings import build
from rate_control.units import BYPASS_VALVE, DUTY_FULL, INLINE_VALVE, ONE_Q20, TICK_MS
from rate_control.valve_loop import ValveLoop

LINE = {
    "curve_flow_ul_s": [10000 * point for point in range(9)],
    "curve_duty_u16": [8191 * point for point in range(9)],
    "curve_share_ul_s": 100000,
}


def made(**changes):
    values = dict(LINE)
    values.update(changes)
    settings, problems = build(values)
    assert problems == [], problems
    return settings


def valve(actuator=INLINE_VALVE, **changes):
    settings = made(actuator=actuator, valve_travel_ms=4000, **changes)
    return ValveLoop(settings, PumpCurve(settings))


def drive(actuator, demand_u16, ticks):
    """Drive towards a demand; return the motor time that was given, + opens, in ms."""
    decided = Decided()
    outputs = Outputs()
    decided.demand_u16 = demand_u16
    total = 0
    for _ in range(ticks):
        actuator.drive(decided, outputs)
        assert abs(outputs.valve_pulse_ms) <= TICK_MS
        total += outputs.valve_pulse_ms
    return total


def test_pump_rises_slowly_and_falls_at_once():
    settings = made(duty_rise_ms=500)
    pump = PumpLoop(settings, PumpCurve(settings))
    decided = Decided()
    outputs = Outputs()
    decided.demand_u16 = DUTY_FULL
    rises = []
    for _ in range(12):
        pump.drive(decided, outputs)
        rises.append(outputs.duty_u16)
    assert rises[0] == DUTY_FULL // 10
    assert rises[8] < DUTY_FULL and rises[11] == DUTY_FULL
    decided.demand_u16 = 0
    pump.drive(decided, outputs)
    assert outputs.duty_u16 == 0


def test_valve_travels_in_its_time():
    # a quarter of 4 s of travel, and what a start loses
    moved = valve(valve_lost_ms=0)
    moved.valve.position_u16 = 0
    assert abs(drive(moved, DUTY_FULL // 4, 40) - 1000) <= 2
    lossy = valve(valve_lost_ms=30)
    lossy.valve.position_u16 = 0
    assert abs(drive(lossy, DUTY_FULL // 4, 40) - 1030) <= 2


def test_reversing_crosses_the_play_first():
    # 30 -> 55 % takes 1.000 s of a 4 s travel; back by 5 % with 2 % play (5 + 2) / 25 = 0.280 s
    moved = valve(valve_lost_ms=0, valve_play_ms=0)
    moved.valve.position_u16 = DUTY_FULL * 30 // 100
    assert abs(drive(moved, DUTY_FULL * 55 // 100, 40) - 1000) <= 2
    moved = valve(valve_lost_ms=0, valve_play_ms=80)
    moved.valve.position_u16 = DUTY_FULL * 50 // 100
    drive(moved, DUTY_FULL * 55 // 100, 40)
    assert abs(drive(moved, DUTY_FULL * 50 // 100, 40) + 280) <= 3


def test_turning_back_within_the_play_crosses_only_what_was_crossed():
    # 200 ms of play: 50 ms of it crossed opening, so closing again has 50 ms to cross, not 200
    moved = valve(valve_lost_ms=0, valve_play_ms=200, valve_min_pulse_ms=5)
    moved.valve.position_u16 = 40000
    drive(moved, 30000, 40)
    assert drive(moved, 31000, 1) == 50
    assert abs(moved.position_u16 - 30000) < 40
    back = DUTY_FULL * 20 // 4000
    assert abs(drive(moved, moved.position_u16 - back, 10) + 50 + 20) <= 2


SHUT_MS, LESS = 800, DUTY_FULL * 45 // 100  # 5 % of 4 s below the half: 200 ms of motor


def narrowed(shut_ms=SHUT_MS, **changes):
    """A valve half open, in the tick in which one of three sections was told to shut."""
    moved = valve(valve_lost_ms=25, hold_lead_ms=[0, shut_ms], **changes)
    moved.take_width(3000)
    moved.take_width(2000)
    moved.valve.position_u16 = DUTY_FULL // 2
    moved.valve._slack_ms = 0
    return moved


def waited_ms(moved, demand_u16):
    for tick in range(40):
        if drive(moved, demand_u16, 1):
            return tick * TICK_MS
    return None


def test_valve_is_there_when_the_section_is_shut():
    # 200 ms of motor and 25 of start before 800 ms: it starts at 550 or 600
    for actuator in (INLINE_VALVE, BYPASS_VALVE):
        moved = narrowed(actuator=actuator)
        assert waited_ms(moved, LESS) == 600
        drive(moved, LESS, 10)
        assert abs(moved.position_u16 - LESS) < 40
        assert waited_ms(moved, LESS - 3000) == 0  # and waits no second time


def test_valve_waits_for_no_quick_section_and_no_longer_than_a_second():
    assert waited_ms(narrowed(shut_ms=100), LESS) == 0
    assert waited_ms(narrowed(shut_ms=2500), LESS) == 800


def test_valve_that_is_to_open_or_to_find_its_stop_waits_for_no_section():
    assert waited_ms(narrowed(), DUTY_FULL * 55 // 100) == 0
    assert waited_ms(narrowed(), -DUTY_FULL) == 0


def test_wait_ends_with_the_work_and_the_next_section_does_not_prolong_it():
    moved = narrowed()
    drive(moved, LESS, 8)
    moved.take_width(1000)
    assert waited_ms(moved, LESS) == 200
    moved = narrowed()
    moved.rest()
    assert waited_ms(moved, LESS) == 0


def test_a_gap_of_less_than_half_the_smallest_movement_is_left_alone():
    # the shortest pulse, 50 ms, loses 26 ms and moves the valve by 24 ms of its travel
    for gap_ms, pulse_ms in ((11, 0), (13, 50), (40, 66)):
        moved = valve(valve_min_pulse_ms=50, valve_lost_ms=26)
        moved.valve.position_u16 = 30000
        assert abs(drive(moved, 30000 + DUTY_FULL * gap_ms // 4000, 20) - pulse_ms) <= 1


def test_a_shortest_pulse_longer_than_a_tick_is_given_without_a_break():
    moved = valve(valve_min_pulse_ms=120, valve_lost_ms=90)
    moved.valve.position_u16 = 30000
    goal = 30000 + DUTY_FULL * 20 // 4000
    assert [drive(moved, goal, 1) for _ in range(4)] == [50, 50, 20, 0]


def test_a_motor_that_stopped_within_a_tick_starts_anew():
    # the pulse does not fill its tick; the few ms that are then left are not worth another
    moved = valve(valve_min_pulse_ms=40, valve_lost_ms=25)
    moved.valve.position_u16 = 30000
    assert abs(drive(moved, 30000 + DUTY_FULL * 18 // 4000, 1) - 43) <= 1
    assert drive(moved, moved.position_u16 + DUTY_FULL * 6 // 4000, 5) == 0


def test_a_valve_left_open_before_power_up_is_found_by_the_meter():
    moved = valve()
    assert moved.position_u16 == 0
    decided = Decided()
    measured = Measured()
    decided.width_mm = 3000
    measured.flow_ul_s = 40000
    moved.observe(measured, decided)
    assert moved.position_u16 == 0
    measured.flow_readable = 1
    moved.observe(measured, decided)
    assert abs(moved.position_u16 - 32764) < 20
    measured.flow_ul_s = 20000  # the line is still filling
    moved.observe(measured, decided)
    assert abs(moved.position_u16 - 32764) < 20


def test_a_valve_left_open_opens_no_further_before_it_is_found():
    moved = valve()
    decided = Decided()
    measured = Measured()
    decided.width_mm = 3000
    decided.target_ul_s = 30000
    measured.flow_valid = measured.flow_readable = 1

    def command(flow_ul_s):
        measured.flow_ul_s = flow_ul_s
        moved.update(measured, decided)
        return decided.command_ul_s

    assert command(29000) == 30000  # what the meter shows of late it may show of the way here
    assert command(40000) == moved.reference_ul_s(decided) < 1000
    measured.flow_readable = 0  # below its floor a meter tells nothing
    assert command(40000) == 30000
    measured.flow_readable = 1
    for _ in range(5000 // TICK_MS):
        command(40000)
    assert abs(moved.position_u16 - 32764) < 100
    assert command(40000) > 25000  # found: from here on the loop brings it where it belongs


def test_bypass_closes_for_more_flow():
    moved = valve(actuator=BYPASS_VALVE)
    moved.valve.position_u16 = 0
    assert drive(moved, DUTY_FULL // 2, 60) < 0


def test_a_demand_below_zero_runs_on_against_the_stop():
    moved = valve()
    moved.valve.position_u16 = 100
    assert drive(moved, -DUTY_FULL, 100) == -100 * TICK_MS
    assert moved.position_u16 == 0


def test_the_meter_puts_the_position_right():
    moved = valve()
    moved.valve.position_u16 = 20000
    decided = Decided()
    measured = Measured()
    decided.width_mm = 3000
    moved.take_width(3000)
    measured.flow_ul_s = 40000  # half of the curve: really at 32764
    for _ in range(800):  # while the flow moves: at rest it takes a quarter of that
        decided.expected_ul_s = moved.reference_ul_s(decided)
        moved.learn(decided.expected_ul_s, measured, decided)
    assert abs(moved.position_u16 - 32764) < 100


def test_fixed_duty_keeps_learning_the_trim():
    settings = made()
    pump = PumpLoop(settings, PumpCurve(settings))
    decided = Decided()
    measured = Measured()
    decided.source = Decided.BY_HAND
    decided.demand_u16 = 32764
    decided.width_mm = 3000
    measured.flow_ul_s = 36000  # the curve says 40000
    for _ in range(400):
        decided.expected_ul_s = pump.reference_ul_s(decided)
        pump.learn(decided.expected_ul_s - measured.flow_ul_s, decided)
    assert abs(36000 + 36000 * pump.trim_q20 // ONE_Q20 - 40000) < 60
