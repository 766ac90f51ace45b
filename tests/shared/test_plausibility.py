"""What contradicts itself: a flow that stays while off, and one that is not what it should be."""

import math

from rate_control.faults import (
    BLOCKING,
    FLOW_WHILE_OFF,
    RATE_OFF,
    SPEED_LOST,
    TOO_MUCH_FLOW,
    Faults,
)
from rate_control.flow_watch import SECTION_TICKS, STILL_TICKS
from rate_control.interlock import APPLYING, BENCH, READY
from rate_control.plausibility import Plausibility
from rate_control.records import Decided, Measured
from rate_control.settings import build
from rate_control.units import INLINE_VALVE, PWM_PUMP, TICK_MS

FLOOR_UL_S = 60000
TARGET_UL_S = 500000
TRAVEL_MS = 6000
STILL_S = 4.0  # of a flow that does not move


class Watch:
    """Plausibility and faults together, as the controller asks them in every tick."""

    def __init__(self, actuator=INLINE_VALVE):
        settings, problems = build({"actuator": actuator, "valve_travel_ms": TRAVEL_MS,
                                    "meter_floor_ul_s": FLOOR_UL_S, "rate_off_ms": 4000})
        assert problems == [], problems
        self.plausibility = Plausibility(settings)
        self.faults = Faults(settings)
        self.measured = Measured()
        self.measured.flow_valid = 1
        self.decided = Decided()

    def conditions(self, flow_ul_s):
        self.measured.flow_ul_s = flow_ul_s
        self.measured.flow_readable = 1 if flow_ul_s >= FLOOR_UL_S else 0
        return self.plausibility.conditions(self.measured, self.decided, True)

    def tick(self, flow_ul_s):
        return self.faults.update(self.conditions(flow_ul_s), 1, 1)

    def seconds_until(self, fault, flow_at, most_s=60):
        """The time until a fault shows under a flow that depends on time, or None."""
        for tick in range(most_s * 1000 // TICK_MS):
            seconds = tick * TICK_MS / 1000
            if self.tick(int(flow_at(seconds))) & fault:
                return seconds
        return None

    def off(self):
        self.decided.state = READY
        return self

    def applying(self, expected_ul_s, target_ul_s=TARGET_UL_S):
        self.decided.state = APPLYING
        self.decided.target_ul_s = self.decided.command_ul_s = target_ul_s
        self.decided.expected_ul_s = expected_ul_s
        return self


def test_a_leak_is_told_after_three_seconds():
    shown_s = Watch().off().seconds_until(FLOW_WHILE_OFF, lambda seconds: 80000)
    assert 3.0 <= shown_s <= 3.2


def test_hoses_that_fill_behind_shut_valves_are_no_leak():
    """A pump on a shaft fills a line of 190 mL/bar from 2.6 to 9.6 bar: 900 mL/s, falling."""
    watch = Watch().off()
    assert watch.seconds_until(FLOW_WHILE_OFF, lambda seconds: 900000 * 0.8 ** seconds) is None


def test_a_leak_behind_filling_hoses_is_told_once_they_are_full():
    watch = Watch().off()
    shown_s = watch.seconds_until(
        FLOW_WHILE_OFF, lambda seconds: 100000 + 800000 * 0.4 ** seconds)
    assert 3.0 < shown_s < 8.0


def test_a_leak_is_told_again_after_work():
    """What the meter showed at one headland does not count at the next."""
    watch = Watch().off()
    assert watch.seconds_until(FLOW_WHILE_OFF, lambda seconds: 80000) is not None
    watch.applying(TARGET_UL_S).tick(TARGET_UL_S)
    watch.off()
    assert watch.seconds_until(FLOW_WHILE_OFF, lambda seconds: 900000 * 0.8 ** seconds) is None
    for _ in range(2):
        watch.tick(0)
        assert watch.seconds_until(FLOW_WHILE_OFF, lambda seconds: 80000) is not None
        watch.tick(0)  # at rest, so that the next flow may be one that falls
        assert watch.seconds_until(FLOW_WHILE_OFF, lambda seconds: 900000 * 0.8 ** seconds) is None


def test_a_machine_on_its_way_is_not_accused():
    """A valve from its stop: reckoned at a fifth of its target, the meter shows more."""
    watch = Watch().applying(TARGET_UL_S // 5)
    on_way_s = TRAVEL_MS // 1000
    assert watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S // 2, on_way_s) is None
    watch.applying(TARGET_UL_S).tick(TARGET_UL_S)  # it arrives, and the next way has its own time
    watch.applying(TARGET_UL_S // 5)
    assert watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S // 2, on_way_s) is None


def test_a_rate_that_is_off_where_the_machine_has_arrived_is_told():
    for factor in (0.8, 1.2):
        shown_s = Watch().applying(TARGET_UL_S).seconds_until(
            RATE_OFF, lambda seconds, flow=TARGET_UL_S * factor: flow)
        assert 4.0 <= shown_s <= 4.2


def test_a_valve_that_sticks_is_told_though_its_place_is_known():
    """The meter teaches where the valve is: the flow is as expected, and still off the target."""
    for share in (0.5, 0.8, 1.2, 2.0):
        flow = int(TARGET_UL_S * share)
        shown_s = Watch().applying(flow).seconds_until(RATE_OFF, lambda seconds, flow=flow: flow)
        assert STILL_S + 4.0 <= shown_s <= STILL_S + 4.3
    half = TARGET_UL_S // 2
    for off in (half // 32 - 1, 1 - half // 32):  # as near as counts as standing still
        shown_s = Watch().applying(half).seconds_until(
            RATE_OFF, lambda seconds, off=off: half + off * (seconds > 1.0))
        assert STILL_S + 4.0 <= shown_s <= STILL_S + 4.3


def test_a_valve_whose_flow_moves_has_the_time_of_its_travel():
    flow = TARGET_UL_S // 2
    for way in (1.0, -1.0):
        shown_s = Watch().applying(flow).seconds_until(
            RATE_OFF, lambda seconds, way=way: flow + way * (flow // 32 + 2) * (seconds // 3.0))
        assert TRAVEL_MS / 1000 + 4.0 <= shown_s <= TRAVEL_MS / 1000 + 4.3


def test_below_the_meter_floor_nothing_tells_that_a_valve_stands_still():
    """A valve from its stop opens for a while before the meter shows anything."""
    low = FLOOR_UL_S - 1000
    watch = Watch().applying(low)
    for _ in range(TRAVEL_MS // TICK_MS):
        assert not watch.tick(low) & RATE_OFF


def test_a_flow_stands_still_to_the_microlitre_and_to_the_tick():
    half = TARGET_UL_S // 2
    for flow, off, ticks in (
            (half, half // 32, 0), (half, -(half // 32), 0), (half, half // 32 + 1, 1),
            (half, -(half // 32) - 1, 1), (FLOOR_UL_S, 0, 0)):
        watch = Watch().applying(flow)
        assert not watch.tick(flow)  # on its way, and the first that there is to compare with
        told = 1 + watch.seconds_until(RATE_OFF, lambda seconds, f=flow + off: f) * 1000 // TICK_MS
        assert told == (STILL_S + 4.0) * 1000 // TICK_MS + ticks, (flow, off)


def test_after_an_arrival_standing_still_begins_anew():
    watch = Watch().applying(TARGET_UL_S)
    for _ in range(200):
        watch.tick(TARGET_UL_S)
    watch.applying(TARGET_UL_S // 2, TARGET_UL_S // 2)
    watch.decided.expected_ul_s = TARGET_UL_S  # another rate: the flow has yet to begin to move
    shown_s = watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S)
    assert shown_s * 1000 // TICK_MS == (STILL_S + 2.0) * 1000 // TICK_MS - 1


def test_a_line_that_empties_when_sections_close_is_not_too_much_while_it_does():
    """A line of a few seconds after half of the width has closed; one that stays there is told."""
    for lag_s, told in ((2.0, False), (100.0, True)):
        watch = Watch().applying(TARGET_UL_S)
        watch.decided.width_mm = 6000
        watch.tick(2 * TARGET_UL_S)
        watch.decided.width_mm = 3000
        shown_s = watch.seconds_until(TOO_MUCH_FLOW, lambda seconds, lag_s=lag_s: TARGET_UL_S * (
            1 + math.exp(-seconds / lag_s)))
        assert (shown_s is not None) == told
    for width_mm in (0, 6000):  # nothing has closed, or the first sections open: no excuse
        watch = Watch().applying(TARGET_UL_S)
        watch.decided.width_mm = width_mm
        assert watch.seconds_until(
            TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S * (2 - seconds / 5)) < 2.2


def test_near_the_meter_floor_the_tolerance_shrinks_no_further():
    low = FLOOR_UL_S * 5 // 4
    near = 2 * FLOOR_UL_S // 10
    watch = Watch().applying(low, low)
    assert watch.seconds_until(RATE_OFF, lambda seconds: low + near * 0.95) is None
    assert watch.seconds_until(RATE_OFF, lambda seconds: low + near * 1.05) is not None


def test_a_change_of_sections_has_its_own_time():
    watch = Watch().applying(TARGET_UL_S)
    for width_mm in (12000, 9000, 6000):
        watch.decided.width_mm = width_mm
        shown_s = watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S * 1.2, 5)
        assert shown_s is None
    shown_s = watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S * 1.2)
    assert 0.9 <= shown_s <= 1.2  # 2 s of the change and 4 s of the delay, less the 5 s above


def test_a_pump_has_less_time_to_arrive():
    watch = Watch(PWM_PUMP).applying(TARGET_UL_S // 2)
    shown_s = watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S // 2)
    assert 2.0 + 4.0 <= shown_s <= 2.0 + 4.3


def test_a_duty_by_hand_has_no_target_to_come_to():
    watch = Watch(PWM_PUMP).applying(TARGET_UL_S // 2)
    watch.decided.source = Decided.BY_HAND
    assert watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S // 2) is None
    assert watch.seconds_until(RATE_OFF, lambda seconds: TARGET_UL_S) is not None


def test_a_quarter_more_than_is_wanted_blocks_after_two_seconds():
    assert TOO_MUCH_FLOW & BLOCKING
    for actuator in (PWM_PUMP, INLINE_VALVE):
        watch = Watch(actuator).applying(TARGET_UL_S)
        assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S * 1.24) is None
        shown_s = watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S * 1.26)
        assert 2.0 <= shown_s <= 2.1


def test_too_much_is_more_than_both_what_is_wanted_and_what_is_on_its_way():
    """A valve that closes gives what it still gives; one that opens may not be reckoned yet."""
    for expected_ul_s in (TARGET_UL_S // 3, TARGET_UL_S * 3):
        watch = Watch().applying(expected_ul_s)
        most = max(expected_ul_s, TARGET_UL_S)
        on_way_s = TRAVEL_MS // 1000
        assert watch.seconds_until(TOO_MUCH_FLOW, lambda s, f=most * 1.2: f, on_way_s) is None
        watch = Watch().applying(expected_ul_s)
        assert watch.seconds_until(TOO_MUCH_FLOW, lambda s, f=most * 1.3: f) <= 2.1


def test_a_valve_that_sticks_wide_open_blocks_though_its_place_is_known():
    flow = 2 * TARGET_UL_S
    shown_s = Watch().applying(flow).seconds_until(TOO_MUCH_FLOW, lambda seconds: flow)
    assert STILL_S + 2.0 <= shown_s <= STILL_S + 2.3


def test_a_valve_further_open_than_it_was_sent_has_no_right_of_way():
    """One that was left open before power-up: it is known by now where it is, and coming back."""
    flow = 3 * TARGET_UL_S
    tolerance_q20 = 2 ** 20 // 3  # of the travel
    for actuator, state, trim_q20, blocks_s in (
            (INLINE_VALVE, APPLYING, tolerance_q20 + 1, 2.0),
            (INLINE_VALVE, APPLYING, tolerance_q20, STILL_S + 2.0),
            (INLINE_VALVE, BENCH, 2 ** 19, STILL_S + 2.0),  # where it is brought to its place
            (PWM_PUMP, APPLYING, 2 ** 18, 4.0)):
        watch = Watch(actuator).applying(flow)
        watch.decided.state = state
        watch.decided.trim_q20 = trim_q20
        shown_s = watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: flow)
        assert blocks_s <= shown_s <= blocks_s + 0.3, (actuator, state, trim_q20)


def test_below_the_meter_floor_a_rotor_that_runs_on_is_not_too_much():
    watch = Watch().applying(FLOOR_UL_S // 4, FLOOR_UL_S // 4)
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: FLOOR_UL_S * 1.2) is None
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: FLOOR_UL_S * 1.3) is not None


def test_too_much_by_hand_is_more_than_the_duty_gives_whatever_is_wanted():
    watch = Watch(PWM_PUMP).applying(TARGET_UL_S // 2)
    watch.decided.source = Decided.BY_HAND
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S * 0.6) is None
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S * 0.7) is not None


def test_a_procedure_that_learns_the_curve_is_not_accused_by_it():
    watch = Watch(PWM_PUMP).applying(TARGET_UL_S)
    watch.decided.source = Decided.BY_PROCEDURE
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: TARGET_UL_S * 3) is None


def test_a_quarter_to_the_microlitre_is_not_too_much():
    watch = Watch().applying(TARGET_UL_S)
    most = TARGET_UL_S + (TARGET_UL_S >> 2)
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: most) is None
    assert watch.seconds_until(TOO_MUCH_FLOW, lambda seconds: most + 1) is not None


def test_arrived_is_within_the_tolerance_of_the_target_to_the_microlitre():
    """What has arrived is judged by what is expected of it, the rest by the target in the end."""
    near = (TARGET_UL_S >> 4) * (100 * 1024 // 1000) >> 6
    for over, told in ((near, False), (near + 1, True)):
        watch = Watch().applying(TARGET_UL_S + over)
        shown_s = watch.seconds_until(RATE_OFF, lambda seconds, f=TARGET_UL_S + 2 * over: f)
        assert (shown_s is not None) == told, over


def test_the_way_begins_when_the_sections_have_changed():
    half = TARGET_UL_S // 2
    for growth, way_s in ((1.0, STILL_S), (1.04, TRAVEL_MS / 1000)):
        watch = Watch().applying(half)
        watch.decided.width_mm = 3000
        shown_s = watch.seconds_until(
            RATE_OFF, lambda seconds, growth=growth: half * growth ** (seconds // 3.0))
        assert 2.0 + way_s + 3.9 <= shown_s <= 2.0 + way_s + 4.3


def test_a_flow_that_stands_still_counts_from_when_the_sections_have_moved():
    """To the tick: half of what is wanted flows, as the reckoned valve gives it, and stays."""
    watch = Watch().applying(TARGET_UL_S // 2)
    watch.decided.width_mm = 3000
    flow = TARGET_UL_S // 2
    told = [bool(watch.conditions(flow) & RATE_OFF) for _ in range(SECTION_TICKS + STILL_TICKS)]
    assert told.index(True) == SECTION_TICKS + STILL_TICKS - 1


def test_a_speed_that_was_only_reckoned_down_leaves_what_was_seen():
    """Between pulses the speed is reckoned from the time that has passed; nobody saw that."""
    watch = Watch().off()
    measured = watch.measured
    measured.speed_valid = measured.speed_seen = 1
    measured.speed_mm_s = 3000
    assert not watch.conditions(0) & SPEED_LOST
    measured.speed_seen = 0
    measured.speed_mm_s = 50
    assert not watch.conditions(0) & SPEED_LOST
    measured.speed_valid = measured.speed_mm_s = 0
    assert watch.conditions(0) & SPEED_LOST
