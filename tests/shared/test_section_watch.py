"""The trim of a pump tells of a section that does not follow."""

from rate_control import faults
from rate_control.interlock import APPLYING, READY
from rate_control.plausibility import Plausibility
from rate_control.records import Decided, Measured
from rate_control.section_watch import SectionWatch
from rate_control.settings import build
from rate_control.units import INLINE_VALVE, ONE_Q20, PWM_PUMP

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


class Pump:
    """Plausibility of a machine at work, asked in every tick."""

    def __init__(self, actuator=PWM_PUMP):
        settings, _ = build({"actuator": actuator, "supply_low_mv": 11000})
        self.plausibility = Plausibility(settings)
        self.measured = Measured()
        self.measured.flow_valid = 1
        self.measured.supply_mv = 10000
        self.decided = Decided()

    def at(self, width_mm, trim_percent, state=APPLYING):
        """Return the conditions of the last of five seconds."""
        self.decided.state = state
        self.decided.width_mm = width_mm
        self.decided.trim_q20 = 0 if width_mm == 3000 else self.decided.trim_q20
        for _ in range(100):
            mask = self.plausibility.conditions(self.measured, self.decided, True)
            self.decided.trim_q20 = trim_percent * PERCENT
        return mask


def test_it_is_told_of_a_pump_at_work_beside_all_else():
    pump = Pump()
    assert pump.at(3000, 0) == faults.SUPPLY_LOW
    assert pump.at(2000, 10) == faults.SUPPLY_LOW | faults.SECTIONS_DIFFER
    assert pump.at(2000, 10, READY) == faults.SUPPLY_LOW
    assert pump.at(2000, 10) == faults.SUPPLY_LOW, "a new start is no change"
    valve = Pump(INLINE_VALVE)
    assert valve.at(3000, 0) == valve.at(2000, 10) == faults.SUPPLY_LOW


def test_a_chattering_switch_is_told_at_work_and_at_rest_beside_all_else():
    for state in (READY, APPLYING):
        pump = Pump()
        for tick in range(40):
            pump.measured.contacts = tick & 1
            pump.decided.state = state
            mask = pump.plausibility.conditions(pump.measured, pump.decided, True)
        assert mask == faults.SUPPLY_LOW | faults.SWITCH_CHATTERS
        assert pump.plausibility.conditions(pump.measured, pump.decided, False) & faults.TICK_LATE
