"""The trim of a pump tells of a section that does not follow."""

from rate_control.records import Decided
from rate_control.section_watch import SectionWatch
from rate_control.settings import build
from rate_control.units import ONE_Q20

PERCENT = ONE_Q20 // 100


class Work:
    """A machine at work whose trim is given."""

    def __init__(self):
        settings, _ = build({"curve_tolerance_permille": 120})
        self.watch = SectionWatch(settings)
        self.decided = Decided()

    def at(self, width_mm, trim_percent, ticks=100, coasting=0):
        """Return what the last of so many ticks says."""
        decided = self.decided
        decided.width_mm = width_mm
        decided.coasting = coasting
        for tick in range(ticks):
            # the trim is learned over the first seconds
            if tick:
                decided.trim_q20 += (trim_percent * PERCENT - decided.trim_q20) // 4
            told = self.watch.differ(decided)
        return told


def test_a_trim_that_jumps_with_a_section_is_told_until_the_next_change():
    for trim in (9, -9):
        work = Work()
        assert not work.at(3000, 1)
        assert not work.at(2000, 1 + trim, 80)
        assert work.at(2000, 1 + trim, 1), "4 s after the change"
        assert work.at(2000, 1 + trim, 20)
        assert not work.at(3000, 1 + trim, 1)


def test_two_thirds_of_the_tolerance_are_allowed_to_the_last_part():
    near_q20 = 80 * ONE_Q20 // 1000  # of 120 permille
    for moved_q20, told in ((near_q20, 0), (-near_q20, 0), (near_q20 + 1, 1), (-near_q20 - 1, 1)):
        work = Work()
        work.at(3000, 0)
        work.at(2000, 0, 1)
        work.decided.trim_q20 = moved_q20
        for _ in range(80):
            differs = work.watch.differ(work.decided)
        assert bool(differs) == bool(told), moved_q20


def test_what_was_told_before_a_stop_is_not_told_after_it():
    work = Work()
    work.at(3000, 0)
    assert work.at(2000, 10)
    work.watch.rest()
    assert not work.at(2000, 10)


def test_a_trim_within_two_thirds_of_the_tolerance_is_nothing():
    for trim in (7, -7):
        work = Work()
        work.at(3000, 0)
        assert not work.at(2000, trim, 400)


def test_what_had_not_settled_before_is_no_measure():
    work = Work()
    assert not work.at(3000, 0, 60)
    assert not work.at(2000, 10, 300)


def test_only_a_meter_that_is_believed_counts():
    work = Work()
    work.at(3000, 0)
    assert not work.at(2000, 10, 300, coasting=1)
    assert work.at(2000, 10, 81)


def test_a_new_start_is_no_change_of_sections():
    work = Work()
    work.at(3000, 0)
    work.watch.rest()
    assert not work.at(2000, 10, 300)
    assert not work.at(2000, 20, 300), "and what creeps in later is told as off its curve"
