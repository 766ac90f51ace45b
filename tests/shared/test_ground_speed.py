"""Ground speed tick by tick: standstill, motion, distance and the look ahead, by either source."""

from rate_control.believable import standstill_ticks
from rate_control.ground_speed import GroundSpeed
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Measured
from rate_control.settings import build
from rate_control.units import BY_BOTH, BY_GNSS, INLINE_VALVE, PWM_PUMP

TICK_US = 50000


def made(**changes):
    settings, problems = build(changes)
    assert problems == [], problems
    return settings


class Ground:
    """A machine whose pulses and reports come at the very end of a tick."""

    def __init__(self, **changes):
        self.ground = GroundSpeed(made(**changes))
        self.inputs = Inputs()
        self.measured = Measured()
        self.now_us = LIMIT - 10 * TICK_US

    def tick(self, pulses=0, fix_mm_s=None, fix=1):
        """Live a tick and return what was measured; fix_mm_s is a report of a receiver."""
        inputs = self.inputs
        self.now_us = (self.now_us + TICK_US) & LIMIT
        if pulses:
            inputs.speed_count = (inputs.speed_count + pulses) & LIMIT
            inputs.speed_edge_us = self.now_us
        if fix_mm_s is not None:
            inputs.report(BY_GNSS, self.now_us, fix_mm_s, fix)
        self.ground.update(inputs, self.now_us, self.measured)
        return self.measured

    def driving(self, pulses):
        """Drive steadily since long ago."""
        for _ in range(60):
            self.tick(pulses)
        assert self.measured.moving
        return self

    def reported(self, speed_mm_s):
        """The same by the reports of a receiver, one in each tick."""
        for _ in range(200):
            self.tick(0, speed_mm_s)
        assert self.measured.speed_mm_s == speed_mm_s
        return self


def ticks_to_standing(ground, **tick):
    """Count the ticks until a standstill is proved."""
    for count in range(1, 1000):
        if ground.tick(**tick).standing:
            return count
    return None


def test_standstill_is_the_timeout_or_a_pulse_at_the_speed_of_stopping():
    # 1000 pulses/km, cut-off 200 mm/s: stopping below 175 mm/s, a pulse each 5714 ms
    assert standstill_ticks(made(speed_pulses_km=1000, speed_cutoff_mm_s=200)) == 114 + 2
    assert standstill_ticks(made(speed_timeout_ms=1000)) == 20 + 2


def test_standstill_is_proved_by_a_whole_silence_of_every_source():
    ground = Ground(speed_timeout_ms=1000)
    assert ticks_to_standing(ground) == 22
    ground.tick(1)
    assert ticks_to_standing(ground) == 22
    assert ground.tick(0, 175).standing == 0, "a receiver sees motion: 7/8 of the cut-off"
    assert ticks_to_standing(ground, fix_mm_s=174) == 22
    assert ticks_to_standing(Ground(), fix_mm_s=0, fix=0) == 22, "a wheel tells without a fix"
    ground = Ground(speed_source=1, speed_timeout_ms=1000)
    ground.tick(0, 0, 0)
    assert ticks_to_standing(ground, fix_mm_s=0) == 22
    assert ground.tick(0, 0, 0).standing == 0, "without a fix a receiver cannot tell"
    assert ticks_to_standing(ground, fix_mm_s=174) == 22


def test_motion_begins_at_the_cut_off_and_ends_an_eighth_below():
    ground = Ground(speed_source=1, speed_cutoff_mm_s=800).reported(799)
    for fix_mm_s, moving in ((799, 0), (800, 1), (700, 1), (699, 0)):
        assert ground.tick(0, fix_mm_s).moving == moving, fix_mm_s


def test_pulses_of_a_tick_are_those_of_no_more_than_a_metre():
    # 72 km/h are 1 m in a tick, with 15 % over it 1149 mm
    for pulses_km, most in ((1000, 1), (130000, 149), (500000, 512)):
        ground = Ground(speed_pulses_km=pulses_km)
        ground.tick(1)
        assert ground.tick(most).speed_pulses == most
        assert ground.tick(1000).speed_pulses == most


def test_before_a_speed_is_known_a_tick_is_no_more_than_the_reach_of_a_sensor():
    for pulses_km, pulses, distance_mm in ((130000, 3, 23), (130000, 10, 23), (130000, 2, 15),
                                           (1000, 1, 1000), (30000, 2, 33), (9901, 1, 100)):
        ground = Ground(speed_pulses_km=pulses_km)
        ground.tick()
        assert ground.tick(pulses).distance_mm == distance_mm, (pulses_km, pulses)


def test_pulses_that_are_not_believed_count_the_way_of_the_held_speed():
    ground = Ground(speed_pulses_km=130000).driving(20)
    held_mm_s = ground.measured.speed_mm_s
    ground.tick(140)
    assert ground.measured.speed_jumped and ground.measured.speed_mm_s == held_mm_s == 3076
    assert abs(ground.measured.distance_mm - 3076 * 50 // 1000) <= 1


def test_beside_a_receiver_the_pulses_mean_what_they_mean_without():
    alone, beside = Ground(), Ground()
    for tick in range(220):
        pulses = min(tick // 4, 20) if 10 <= tick < 120 else 0
        with_fix = alone.tick(pulses), beside.tick(pulses, 1000 if tick % 4 == 0 else None)
        for name in ("speed_mm_s", "speed_valid", "speed_seen", "moving", "distance_mm"):
            assert getattr(with_fix[0], name) == getattr(with_fix[1], name), (tick, name)
    assert beside.measured.speed_other_mm_s == 1000
    beside.tick(0, 1000, fix=0)
    assert beside.measured.speed_other_mm_s == -1, "without a fix it says nothing"


def test_beside_the_receiver_a_wheel_is_kept_to_compare():
    ground = Ground(speed_source=1, speed_timeout_ms=1000)
    for _ in range(10):
        ground.tick(20, 3000)
    assert ground.measured.speed_other_mm_s == 3076
    ground.tick(200)
    assert ground.measured.speed_other_mm_s == 20000
    for _ in range(22):
        ground.tick(0, 3000)
    assert ground.measured.speed_other_mm_s == -1
    assert ground.measured.speed_seen == 1


def test_a_receiver_that_jumps_out_of_a_standstill_is_never_believed():
    ground = Ground(speed_source=1)
    assert ticks_to_standing(ground, fix_mm_s=0)
    for _ in range(400):
        assert not ground.tick(0, 8000).moving


def test_looks_ahead_over_four_ticks_and_by_no_more_than_half():
    ground = Ground(speed_source=1, look_ahead_ms=200).reported(3000)
    ahead = [ground.tick(0, 3100).speed_ahead_mm_s for _ in range(6)]
    assert ahead == [3200] * 4 + [3100] * 2
    for speeds, ahead_mm_s in (((3225, 3450, 3675, 3900), 5850), ((2775, 2550, 2325, 2100), 1050)):
        ground = Ground(speed_source=1, look_ahead_ms=1000).reported(3000)
        for speed_mm_s in speeds:
            ground.tick(0, speed_mm_s)
        assert ground.measured.speed_ahead_mm_s == ahead_mm_s
    ground = Ground(speed_source=1, look_ahead_ms=1000).reported(19000)
    assert ground.tick(0, 19240).speed_ahead_mm_s == 20000
    assert ground.tick(0, 19240).speed_ahead_mm_s == 20000


def test_the_line_is_as_short_as_the_window_of_pulses():
    # 20 and then 21 pulses in a tick: 3076 and 3230 mm/s. 50 ms ahead is as much again in the tick
    # of a change, and of the 308 more that are then asked for the second lead takes 16 ms, too, up
    # to 5 m/s2; windows of two ticks that do not overlap are two ticks apart
    for actuator, average_pulses, gains in (
            (PWM_PUMP, 4, (269, -67, 0, 0)), (PWM_PUMP, 40, (38, 77, 38, 0)),
            (INLINE_VALVE, 4, (38, 38, 38, 38, 0))):
        ground = Ground(speed_pulses_km=130000, look_ahead_ms=50, actuator=actuator,
                        speed_average_pulses=average_pulses).driving(20)
        for gain_mm_s in gains:
            measured = ground.tick(21)
            assert measured.speed_ahead_mm_s - measured.speed_mm_s == gain_mm_s


def test_the_first_speed_is_no_change_to_look_ahead_by():
    ground = Ground(speed_source=1, look_ahead_ms=200)
    assert ground.tick(0, 400).speed_ahead_mm_s == 400


def test_half_the_speed_or_the_change_that_a_machine_can_make_bounds_the_look_ahead():
    # 0.6 s ahead are 3000 mm/s at most, at 8 to 9.3 m/s: more than a quarter and less than half
    ground = Ground(speed_source=1, look_ahead_ms=600).reported(8000)
    assert ground.tick(0, 9300).speed_ahead_mm_s == 9300 + 3000
    # 0.5 s ahead are 2500 at most, at 3 m/s: more than half and less than all of it
    ground = Ground(speed_source=1, look_ahead_ms=500).reported(2100)
    for speed_mm_s in (2325, 2550, 2775, 3000):
        ground.tick(0, speed_mm_s)
    assert ground.measured.speed_ahead_mm_s == 3000 + 1500


class Edges(Ground):
    """A wheel of 100 mm a pulse whose edges come when they come."""

    def __init__(self, **changes):
        super().__init__(speed_pulses_km=10000, actuator=PWM_PUMP, look_ahead_ms=100, **changes)
        self.start_us = self.now_us
        self.edge_us = 0  # of the last one, since the start

    def until(self, tick, period_us):
        """Live until so many ticks are over; return what was measured."""
        while self.now_us != (self.start_us + tick * TICK_US) & LIMIT:
            self.now_us = (self.now_us + TICK_US) & LIMIT
            elapsed_us = (self.now_us - self.start_us) & LIMIT
            while self.edge_us + period_us <= elapsed_us:
                self.edge_us += period_us
                self.inputs.speed_count = (self.inputs.speed_count + 1) & LIMIT
            self.inputs.speed_edge_us = (self.start_us + self.edge_us) & LIMIT
            self.ground.update(self.inputs, self.now_us, self.measured)
        return self.measured


def test_the_line_is_as_many_whole_ticks_long_as_the_window_is_nearest_to():
    # one pulse in 80 ms is nearest to two ticks, in 50 to 70 ms to one, in 300 to six: four at most
    for period_us, sooner_us, ticks in ((80000, 79000, 2), (60000, 59000, 1), (300000, 290000, 4)):
        ground = Edges(speed_average_pulses=1)
        speed = ground.until(400, period_us).speed_mm_s
        assert speed == 100000000 // period_us
        tick = 400
        while ground.until(tick, sooner_us).speed_mm_s == speed:
            tick += 1
        gain = ground.measured.speed_mm_s - speed
        ahead = led_twice(gain) if ticks == 1 else gain * 2 // ticks
        assert ground.measured.speed_ahead_mm_s - ground.measured.speed_mm_s == ahead


def led_twice(gain):
    """What 100 ms ahead add to a speed that was even and has gained in one tick: 67 and 66 ms."""
    first = gain * 67 // 50
    return first + (gain + first) * 66 // 50


def test_a_window_of_less_than_half_a_tick_is_a_line_of_one():
    ground = Ground(speed_pulses_km=130000, speed_average_pulses=1, look_ahead_ms=100).driving(20)
    inputs = ground.inputs
    ground.now_us = (ground.now_us + TICK_US) & LIMIT
    inputs.speed_count = (inputs.speed_count + 1) & LIMIT
    inputs.speed_edge_us = (ground.now_us - TICK_US + 2400) & LIMIT  # 7.7 mm in 2.4 ms
    ground.ground.update(inputs, ground.now_us, ground.measured)
    gain = ground.measured.speed_mm_s - 3076
    ahead = led_twice(gain)
    assert ground.measured.speed_ahead_mm_s == ground.measured.speed_mm_s + ahead
    assert ahead > 3 * gain, "a line of more ticks would say less"


def test_the_second_lead_is_shorter_where_the_first_is_long():
    for look_ahead_ms, first_ms, second_ms in ((30, 20, 20), (150, 100, 100), (210, 180, 60),
                                               (299, 298, 2), (303, 303, 0), (900, 900, 0)):
        for source in (0, BY_BOTH):
            ground = Ground(look_ahead_ms=look_ahead_ms, speed_source=source).ground
            assert (ground.first_lead_ms, ground.second_lead_ms) == (first_ms, second_ms)


def test_a_pump_is_led_twice_but_not_after_what_no_machine_does():
    """Two leads one after the other, as a pump has two lags: twice 1 + 100 ms d/dt."""
    ground = Ground(speed_pulses_km=500000, look_ahead_ms=150).driving(75)  # 40 mm/s a pulse
    assert [ground.tick(pulses).speed_ahead_mm_s for pulses in (76, 77, 77, 77)] == [
        3040 + 80 + 240, 3080 + 80 + 80, 3080 - 160, 3080]
    # 8 pulses more are 6.4 m/s2, which no machine gains: led once, to the bound, and not again
    assert [ground.tick(pulses).speed_ahead_mm_s for pulses in (85, 85, 85)] == [
        3400 + 750, 3400, 3400]
    for sign in (1, -1):  # 5 m/s2 are still believed, and then both leads together go to twice that
        ground = Ground(speed_pulses_km=400000, look_ahead_ms=150).driving(80)  # 50 mm/s a pulse
        speed = 4000 + sign * 250
        assert [ground.tick(80 + sign * 5).speed_ahead_mm_s for _ in range(3)] == [
            speed + sign * 1500, speed - sign * 1000, speed]
    ground = Ground(speed_pulses_km=400000, look_ahead_ms=150).driving(50)
    assert ground.tick(55).speed_ahead_mm_s == 2750 + 1375, "half of the speed still bounds both"


def test_what_was_led_before_a_stop_leads_no_start():
    ground = Ground(speed_pulses_km=500000, look_ahead_ms=150).driving(75)
    for _ in range(60):
        ground.tick()
    assert [ground.tick(pulses).speed_ahead_mm_s for pulses in (4, 5, 6)] == [0, 200, 240 + 80]


def test_the_speed_at_which_a_signal_ends_is_kept_and_none_before():
    # 23 pulses in the last tick are faster than the mean of the window
    for last, seen_mm_s in ((20, 3076), (23, 3538)):
        for silent_us in (1000, 49000):
            ground = Ground(speed_pulses_km=130000, speed_average_pulses=40).driving(20)
            ground.tick(last)
            assert ground.measured.speed_last_seen_mm_s == 0, "nothing has ended"
            ground.now_us = (ground.now_us + silent_us) & LIMIT
            for _ in range(60):
                ground.tick()
            assert ground.measured.speed_last_seen_mm_s == seen_mm_s
    ground = Ground(speed_pulses_km=40000, speed_average_pulses=64)
    for pulses in [38] * 120 + [42] + [0] * 60:  # 19 m/s, and at last 21
        ground.tick(pulses)
    assert ground.measured.speed_last_seen_mm_s == 20000, "no source tells more"


def test_looks_no_further_ahead_than_any_machine_gains_or_loses_speed():
    # 5 m/s2 are 500 mm/s in 100 ms; four pulses more in a tick would be 1230 mm/s
    for pulses, most_mm_s in ((24, 500), (16, -500)):
        ground = Ground(speed_pulses_km=130000, look_ahead_ms=100).driving(20)
        measured = ground.tick(pulses)
        assert measured.speed_ahead_mm_s - measured.speed_mm_s == most_mm_s


def test_switched_on_in_motion_there_is_nothing_to_look_ahead_by():
    for pulses in (2, 20):
        ground = Ground(look_ahead_ms=1000)
        for _ in range(40):
            measured = ground.tick(pulses)
            assert measured.speed_ahead_mm_s == measured.speed_mm_s
