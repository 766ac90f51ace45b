"""The speed of a GNSS receiver: between reports, without them, and beside the pulses."""

from app.gnss import Gnss
from rate_control import faults
from rate_control.ground_speed import GroundSpeed
from rate_control.intmath import LIMIT
from rate_control.plausibility import Plausibility, differ
from rate_control.records import Decided, Inputs, Measured
from rate_control.reported_speed import ReportedSpeed
from rate_control.settings import build
from rate_control.units import BY_GNSS, SPEED_MAX_MM_S

TICK_US = 50000
START_US = LIMIT - 120000  # the clock wraps in the third tick


def report(inputs, speed_mm_s, at_us, fix=1):
    inputs.report(BY_GNSS, at_us & LIMIT, speed_mm_s, fix)


def settings(**changes):
    values, problems = build(changes)
    assert problems == [], problems
    return values


def test_speed_goes_on_along_the_line_through_two_reports():
    speed, inputs = ReportedSpeed(2000000), Inputs()
    report(inputs, 2000, START_US)
    assert speed.update(inputs.reports[0], START_US) == 2000
    later_us = (START_US + 500000) & LIMIT
    assert speed.update(inputs.reports[0], later_us) == 2000  # one report has no slope
    report(inputs, 2500, START_US + 1000000)
    # half a metre a second in a second: after 0.4 s another 0.2 m/s, after 1 s no more
    for ms, expected in ((0, 2500), (400, 2700), (1000, 3000), (1800, 3000)):
        assert speed.update(inputs.reports[0], (START_US + 1000000 + ms * 1000) & LIMIT) == expected


def test_second_sentence_of_a_fix_keeps_the_slope():
    speed, inputs = ReportedSpeed(2000000), Inputs()
    for number in range(3):
        at_us = START_US + number * 200000
        for late_us in (0, 3000):  # RMC, and VTG right after it
            report(inputs, 2000 + 100 * number, at_us + late_us)
            speed.update(inputs.reports[0], (at_us + late_us) & LIMIT)
    later_us = (START_US + 403000 + 100000) & LIMIT
    assert speed.update(inputs.reports[0], later_us) in (2249, 2250, 2251)


def test_no_fix_and_no_report_are_no_speed():
    speed, inputs = ReportedSpeed(1000000), Inputs()
    assert speed.update(inputs.reports[0], START_US) == 0 and not speed.valid
    report(inputs, 3000, START_US)
    assert speed.update(inputs.reports[0], START_US) == 3000 and speed.valid
    report(inputs, 3000, START_US + 200000, fix=0)
    assert speed.update(inputs.reports[0], (START_US + 200000) & LIMIT) == 0 and not speed.valid
    report(inputs, 3000, START_US + 400000)
    assert speed.update(inputs.reports[0], (START_US + 1300000) & LIMIT) == 3000
    assert speed.update(inputs.reports[0], (START_US + 1500000) & LIMIT) == 0 and not speed.valid


def test_no_report_brakes_harder_than_a_machine():
    speed, inputs = ReportedSpeed(2000000), Inputs()
    for ms, mm_s in ((0, 5000), (200, 1000)):
        report(inputs, mm_s, START_US + ms * 1000)
        speed.update(inputs.reports[0], (START_US + ms * 1000) & LIMIT)
    assert speed.update(inputs.reports[0], (START_US + 300000) & LIMIT) == 500


def driven(by_gnss, gnss_mm_s, pulses_hz, ticks=60):
    """Return Measured and the distance after a steady drive past both sources."""
    ground = GroundSpeed(settings(speed_source=by_gnss, speed_pulses_km=100000))
    inputs, measured = Inputs(), Measured()
    distance_mm = 0
    for tick in range(1, ticks + 1):
        now_us = (START_US + tick * TICK_US) & LIMIT
        if pulses_hz:
            period_us = 1000000 // pulses_hz
            inputs.speed_count = tick * TICK_US // period_us
            inputs.speed_edge_us = (START_US + inputs.speed_count * period_us) & LIMIT
        if gnss_mm_s is not None and tick % 4 == 0:
            report(inputs, gnss_mm_s, now_us)
        ground.update(inputs, now_us, measured)
        distance_mm += measured.distance_mm
    return measured, distance_mm


def test_distance_and_permits_follow_the_source_of_the_settings():
    measured, distance_mm = driven(1, 3000, 0)
    assert (measured.speed_mm_s, measured.speed_valid, measured.moving) == (3000, 1, 1)
    # from the third report on: by then a machine can have reached what it says
    assert distance_mm == 3000 * 49 * TICK_US // 1000000
    assert measured.speed_other_mm_s == -1
    measured, _ = driven(1, None, 300)
    assert (measured.speed_mm_s, measured.speed_valid, measured.moving) == (0, 0, 0)
    assert abs(measured.speed_other_mm_s - 3000) <= 1
    measured, _ = driven(0, 2500, 300)
    assert abs(measured.speed_mm_s - 3000) <= 1
    assert measured.speed_other_mm_s == 2500


def test_either_source_sees_that_it_does_not_stand():
    # a receiver that stands reports up to some centimetres a second
    for by_gnss in (0, 1):
        assert driven(by_gnss, 60, 0)[0].standing == 1
        assert driven(by_gnss, 1000, 0)[0].standing == 0
        assert driven(by_gnss, None, 100)[0].standing == 0
    # a wheel sensor may be silent since power-up; a receiver without a fix tells nothing
    assert driven(0, None, 0)[0].standing == 1
    assert driven(1, None, 0)[0].standing == 0


def test_sources_that_disagree_are_told():
    assert not differ(3000, 3400) and differ(3000, 3401) and differ(3401, 3000)
    assert not differ(0, 100) and differ(0, 1000)
    watch, measured, decided = Plausibility(settings()), Measured(), Decided()
    measured.speed_valid = measured.speed_seen = 1
    measured.speed_mm_s = 3000
    for other, expected in ((-1, 0), (3100, 0), (2200, faults.SPEED_DIFFERS)):
        measured.speed_other_mm_s = other
        assert watch.conditions(measured, decided, True) == expected


def test_fix_that_is_lost_in_motion_is_a_lost_speed():
    watch, measured, decided = Plausibility(settings(speed_source=1)), Measured(), Decided()
    measured.speed_valid = measured.speed_seen = 1
    measured.speed_mm_s = 3000
    assert watch.conditions(measured, decided, True) == 0
    measured.speed_valid = measured.speed_seen = measured.speed_mm_s = 0
    assert watch.conditions(measured, decided, True) == faults.SPEED_LOST


class Stream:
    def __init__(self, data):
        self.data = data

    def any(self):
        return len(self.data)

    def readinto(self, buffer):
        length = min(len(buffer), len(self.data))
        buffer[:length] = self.data[:length]
        self.data = self.data[length:]
        return length


def test_sentences_in_pieces_become_reports():
    # both sentences: 5.00 kn is 2572 mm/s
    fix = (b"$GPRMC,120000.00,A,0000.000,N,00000.000,E,5.00,,010126,,,A*42\r\n"
           b"$GPVTG,,T,,M,5.00,N,9.26,K,A*2B\r\n")
    for size in (1, 7, 200):
        inputs = Inputs()
        stream = Stream(b"")
        gnss = Gnss(stream, inputs, lambda: 4711)
        for start in range(0, len(fix), size):
            stream.data = fix[start:start + size]
            gnss.poll()
        told = inputs.reports[BY_GNSS - 1]
        assert (told.count, told.at_us, told.trusted, told.speed_mm_s) == (2, 4711, 1, 2572)


def test_count_of_reports_wraps_to_one_and_never_says_none():
    inputs = Inputs()
    assert inputs.reporting == 0
    inputs.reports[0].count = LIMIT
    Gnss(Stream(b"$GPVTG,,T,,M,5.00,N,9.26,K,A*2B\r\n"), inputs, lambda: 1).poll()
    assert inputs.reports[0].count == inputs.reporting == 1


def test_a_report_is_fresh_in_its_tick_alone_and_a_second_sentence_never():
    speed, inputs = ReportedSpeed(2000000), Inputs()
    left_over = inputs.reports[0]  # no report has come
    left_over.trusted, left_over.speed_mm_s = 1, 3000
    assert (speed.valid, speed.fresh, speed.update(left_over, 0)) == (0, 0, 0)
    for at_us, fresh in ((0, 1), (40000, 0), (80001, 1), (80001, 0)):
        report(inputs, 3000, START_US + at_us)
        speed.update(inputs.reports[0], (START_US + at_us) & LIMIT)
        assert (speed.valid, speed.fresh) == (1, fresh)
        speed.update(inputs.reports[0], (START_US + at_us + 10000) & LIMIT)
        assert (speed.valid, speed.fresh) == (1, 0)


def braking(second_us=200000):
    """Return a receiver that saw a machine brake as hard as any, from 6 m/s to 5 m/s."""
    speed, inputs = ReportedSpeed(2000000), Inputs()
    for mm_s, at_us in ((6000, 0), (5000, second_us)):
        report(inputs, mm_s, at_us)
        speed.update(inputs.reports[0], at_us)
    return speed, inputs


def test_a_line_ends_where_a_report_was_due():
    for second_us, onward_us, slope_mm_s2 in ((200000, 200000, 5000), (1600000, 1000000, 625)):
        speed, inputs = braking(second_us)
        for us in (0, onward_us, onward_us + 1000, 2000000):
            gone_us = min(us, onward_us)
            expected = 5000 - slope_mm_s2 * gone_us // 1000000
            assert speed.update(inputs.reports[0], second_us + us) == expected
        for us in (2000001, 2050000):
            assert speed.update(inputs.reports[0], second_us + us) == 0, "it is too old"
            assert (speed.valid, speed.fresh) == (0, 0)


def test_a_report_from_after_the_tick_is_taken_as_it_is():
    speed, inputs = braking()
    assert speed.update(inputs.reports[0], 190000) == 5000


def test_what_was_lost_or_came_late_begins_without_a_slope():
    def lost(speed, inputs):
        report(inputs, 5000, 300000, fix=0)
        speed.update(inputs.reports[0], 300000)
        report(inputs, 4000, 400000)

    def went_back(speed, inputs):
        report(inputs, 4000, 199999)

    for happens in (lost, went_back):
        speed, inputs = braking()
        happens(speed, inputs)
        speed.update(inputs.reports[0], 400000)
        assert (speed.valid, speed.fresh) == (1, 1)
        assert speed.update(inputs.reports[0], 450000) == 4000
    speed, inputs = braking()
    report(inputs, 5000, 200000)  # of the same moment: another sentence of the fix
    assert speed.update(inputs.reports[0], 300000) == 4500


def test_no_speed_leaves_its_range():
    for first, second, after in ((400, 100, 0), (SPEED_MAX_MM_S - 500, SPEED_MAX_MM_S,
                                                 SPEED_MAX_MM_S)):
        speed, inputs = ReportedSpeed(2000000), Inputs()
        for mm_s, at_us in ((first, 0), (second, 200000)):
            report(inputs, mm_s, at_us)
            assert speed.update(inputs.reports[0], at_us) == mm_s
        assert speed.update(inputs.reports[0], 400000) == after
