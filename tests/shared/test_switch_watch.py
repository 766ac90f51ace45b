"""Switches that contradict themselves, and what a person does at work, which is none."""

from rate_control import faults
from rate_control.records import Measured
from rate_control.settings import build
from rate_control.switch_watch import SwitchWatch

MASTER, DOWN, FIRST = 1, 2, 4
WORK = 1023
METRE = 1000


class Watch:
    """A machine in motion whose contacts move as they are told."""

    def __init__(self, **changes):
        settings, problems = build(changes)
        assert problems == []
        self.watch = SwitchWatch(settings)
        self.measured = Measured()
        self.measured.moving = 1

    def live(self, ticks, contacts, down=None, way_mm=0):
        """Return the conditions of the last of so many ticks."""
        measured = self.measured
        measured.contacts = contacts
        measured.switches = contacts if down is None else contacts & ~DOWN | DOWN * down
        measured.distance_mm = way_mm
        for _ in range(ticks):
            mask = self.watch.conditions(measured)
        return mask


def test_a_switch_that_chatters_is_told_within_two_seconds_and_forgotten_in_four():
    for bit in (MASTER, DOWN, FIRST):
        watch = Watch()
        watch.live(100, WORK)
        told = [watch.live(1, WORK ^ bit * (tick & 1)) for tick in range(40)]
        assert told[-1] == faults.SWITCH_CHATTERS
        assert faults.SWITCH_CHATTERS not in told[:10]
        assert watch.live(80, WORK) == 0


def test_contact_that_fails_now_and_then_is_told_in_time():
    watch = Watch()
    told = 0
    for _ in range(60):  # half a second good, one sample bad
        watch.live(10, WORK)
        told |= watch.live(1, WORK & ~DOWN)
    assert told == faults.SWITCH_CHATTERS


def test_a_person_who_sets_every_switch_chatters_not():
    watch = Watch()
    contacts = 0
    for index in range(10):  # three in a second, and every third bounces
        bit = 1 << index
        contacts |= bit
        assert watch.live(2, contacts) == 0
        assert watch.live(1, contacts ^ bit if index % 3 == 0 else contacts) == 0
        assert watch.live(3, contacts) == 0
    watch = Watch()
    for _ in range(100):  # plots of 4 m and alleys of 2 m at 2 m/s
        assert watch.live(40, WORK) == watch.live(20, WORK & ~DOWN) == 0


def test_an_implement_that_is_never_lifted_is_told_beyond_the_longest_pass():
    watch = Watch(longest_pass_m=1000)
    assert watch.live(9999, WORK, way_mm=100) == 0
    assert watch.live(3, WORK, way_mm=100) == faults.NEVER_LIFTED
    assert watch.live(1, WORK & ~DOWN, way_mm=100) == 0, "a lift ends it"
    assert watch.live(9990, WORK, way_mm=100) == 0
    assert watch.live(1, WORK, down=0, way_mm=100) == 0
    assert watch.live(9990, WORK, way_mm=100) == 0, "and the way counts from there"


def test_master_off_at_headland_after_headland_without_a_lift_is_told():
    watch = Watch()
    for _ in range(4):
        assert watch.live(400, WORK, way_mm=100) == 0
        watch.live(100, WORK & ~MASTER, way_mm=50)
    assert watch.live(1, WORK) == faults.NEVER_LIFTED
    watch = Watch()
    watch.measured.moving = 0  # at standstill it says nothing about the implement
    for _ in range(20):
        watch.live(50, WORK)
        assert watch.live(50, WORK & ~MASTER) == 0


def test_without_an_implement_switch_nobody_is_accused():
    watch = Watch(longest_pass_m=0)
    for _ in range(40):
        assert watch.live(2000, WORK, way_mm=1000) == 0
        assert watch.live(50, WORK & ~MASTER, way_mm=50) == 0


def test_default_is_beyond_the_longest_field_and_the_way_stays_a_small_number():
    settings, _ = build({})
    assert settings.longest_pass_m > 1609  # a section of land is a mile square: 43 U.S.C. 751
    watch = Watch(longest_pass_m=50000)
    watch.live(60000, WORK, way_mm=1000)
    assert 0 < watch.watch._pass_mm < 1 << 29


def test_more_than_sixteen_changes_are_chatter_and_each_second_of_calm_forgives_one():
    for calm_ticks in (1, 40):
        watch = Watch()
        watch.live(calm_ticks, 0)
        told = [watch.live(1, FIRST * (tick & 1)) for tick in range(1, 18)]
        assert told == [0] * 16 + [faults.SWITCH_CHATTERS]
        assert watch.live(19, FIRST) == faults.SWITCH_CHATTERS
        assert watch.live(1, FIRST) == 0
    watch = Watch()
    told = [watch.live(1, FIRST * (tick & 1)) for tick in range(1, 17)]
    assert told == [0] * 16, "from the first tick on"
    for tick in range(300):
        watch.live(1, FIRST * (tick & 1))
    assert watch.live(59, FIRST) == faults.SWITCH_CHATTERS
    assert watch.live(1, FIRST) == 0, "3 s later"


def test_the_longest_pass_is_counted_to_the_millimetre_and_anew_after_a_lift():
    for way_mm, ticks in ((10000, 10), (11111, 10)):  # 99,999 mm are not 100 m
        watch = Watch(longest_pass_m=100)
        for _ in range(2):
            assert watch.live(ticks, WORK, way_mm=way_mm) == 0
            assert watch.live(1, WORK, way_mm=way_mm) == faults.NEVER_LIFTED
            assert watch.live(1, WORK & ~DOWN, way_mm=way_mm) == 0
