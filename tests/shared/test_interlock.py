"""The interlock, enumerated completely against a second, independent statement of the rule."""

from rate_control import interlock
from rate_control.interlock import (
    APPLYING,
    APPLYING_PERMITS,
    ARMED,
    BENCH,
    BENCH_ASKED,
    BENCH_PERMITS,
    FAULT,
    IMPLEMENT,
    MASTER,
    NO_FAULT,
    PARKED,
    PRIME,
    PRIMING,
    PRIMING_PERMITS,
    READY,
    SECTION,
    SET_UP,
    SETTINGS_WHOLE,
    SPEED,
    STANDSTILL,
    STORE_IDLE,
    TICK,
    Interlock,
)

STATES = (PARKED, READY, APPLYING, BENCH, FAULT, PRIMING)
ALL_PERMITS = 8192  # numbers that the permits can make


def expected(state, locked, permits, proved_off):
    """Return (state, locked) after one tick, written as sentences instead of a table."""
    if proved_off and not permits & MASTER:
        locked = 0
    if not locked:
        permits |= ARMED
    if not permits & NO_FAULT:
        return FAULT, 1
    if not permits & MASTER:
        return PARKED, 1 if state == BENCH else locked
    if state == FAULT:
        return FAULT, 1
    if not permits & TICK:
        return PARKED, 1
    if locked:
        return PARKED, locked
    if permits & BENCH_PERMITS == BENCH_PERMITS:
        return BENCH, 0
    if state == BENCH:
        return PARKED, 1
    if permits & APPLYING_PERMITS == APPLYING_PERMITS:
        return APPLYING, 0
    if permits & PRIMING_PERMITS == PRIMING_PERMITS and not permits & IMPLEMENT:
        return PRIMING, 0
    return READY, 0


def test_every_state_lock_and_permit():
    lock = Interlock()
    lock.off_ticks = 0  # one tick proves the master off; how long it takes is tested below
    for state in STATES:
        for locked in (0, 1):
            for permits in range(ALL_PERMITS):
                if permits & ARMED:
                    continue
                for proved_off in (0, 1):
                    lock.state = state
                    lock.locked = locked
                    lock.update(permits, not proved_off)
                    assert (lock.state, lock.locked) == expected(
                        state, locked, permits, proved_off), (state, locked, permits, proved_off)


def test_same_permits_twice_give_what_the_table_gives():
    """The interlock remembers the row of the tick before: that must not show."""
    lock = Interlock()
    lock.off_ticks = 0
    for permits in range(ALL_PERMITS):
        if permits & ARMED:
            continue
        for state in STATES + STATES + tuple(reversed(STATES)):  # after those below and above
            lock.state = state
            lock.locked = 0
            after, locked = state, 0
            for _ in range(3):
                after, locked = expected(after, locked, permits, True)
                lock.update(permits, 0)
                assert (lock.state, lock.locked) == (after, locked), (state, permits)


def test_lock_opens_after_off_ticks_and_one_in_a_row_and_not_before():
    for off_ticks in (2, 3, 10):
        lock = Interlock()
        lock.off_ticks = off_ticks
        for run in range(off_ticks + 1):  # too short, whatever the length
            for _ in range(run):
                lock.update(NO_FAULT | TICK, 0)
            lock.update(NO_FAULT | TICK, 1)
            assert lock.locked
        for _ in range(off_ticks):
            lock.update(NO_FAULT | TICK, 0)
            assert lock.locked
        lock.update(NO_FAULT | TICK, 0)
        assert not lock.locked


def test_each_lock_asks_for_the_whole_time_again():
    lock = Interlock()
    lock.off_ticks = 3
    for again in (lambda: lock.lock(), lambda: lock.update(TICK, 0)):  # the latter is a fault
        for _ in range(3):
            lock.update(NO_FAULT | TICK, 0)
        again()
        for _ in range(3):
            lock.update(NO_FAULT | TICK, 0)
            assert lock.locked
        lock.update(NO_FAULT | TICK, 0)
        assert not lock.locked


def test_master_that_still_counts_as_on_opens_nothing():
    lock = Interlock()
    for _ in range(50):
        lock.update(APPLYING_PERMITS & ~ARMED, 0)
        assert lock.locked and lock.state == PARKED


def test_every_single_missing_permit_stops_applying():
    always = (MASTER, ARMED, SECTION, NO_FAULT, TICK, STORE_IDLE, SETTINGS_WHOLE)
    for state, needed in ((APPLYING, always + (IMPLEMENT, SPEED, SET_UP)),
                          (BENCH, always + (BENCH_ASKED, STANDSTILL)),
                          (PRIMING, always + (SPEED, SET_UP, PRIME))):
        given = sum(needed)
        for missing in (0,) + needed:
            lock = Interlock()
            lock.state = state
            lock.locked = 1 if missing == ARMED else 0
            lock.update(given & ~missing & ~ARMED, 1)
            assert (lock.state == state) == (missing == 0), (state, missing)


def test_nothing_starts_by_itself_after_power_up():
    lock = Interlock()
    for _ in range(100):
        lock.update(APPLYING_PERMITS & ~ARMED, 1)
        assert lock.state == PARKED
    lock = Interlock()
    for _ in range(lock.off_ticks):
        lock.update(APPLYING_PERMITS & ~ARMED & ~MASTER, 0)
        assert lock.locked
    lock.update(APPLYING_PERMITS & ~ARMED & ~MASTER, 0)
    lock.update(APPLYING_PERMITS & ~ARMED, 1)
    assert lock.state == APPLYING


def test_a_cleared_fault_does_not_restart():
    lock = Interlock()
    lock.locked = 0
    lock.update(APPLYING_PERMITS, 1)
    assert lock.state == APPLYING
    given = APPLYING_PERMITS & ~ARMED
    lock.update(given & ~NO_FAULT, 1)
    assert lock.state == FAULT
    lock.update(given, 1)
    assert lock.state == FAULT
    lock.update(given & ~MASTER, 0)
    assert lock.state == PARKED
    lock.update(given, 1)
    assert lock.state == PARKED  # off for a tick: that may be a bad sample
    for _ in range(lock.off_ticks + 1):
        lock.update(given & ~MASTER, 0)
        assert lock.state == PARKED
    lock.update(given, 1)
    assert lock.state == APPLYING
    lock.update(given & ~MASTER & ~NO_FAULT, 0)  # it comes with the very tick of the switch
    assert lock.state == FAULT
    lock.update(given & ~MASTER, 0)
    for _ in range(3):
        lock.update(given, 1)
        assert lock.state == PARKED


def test_every_permit_is_a_bit_of_its_own():
    bits = APPLYING_PERMITS | BENCH_PERMITS | PRIMING_PERMITS
    assert bits == ALL_PERMITS - 1, "the tests above run through these"
    assert bits == (MASTER + ARMED + IMPLEMENT + SPEED + SECTION + NO_FAULT + TICK + BENCH_ASKED
            + STANDSTILL + STORE_IDLE + SETTINGS_WHOLE + SET_UP + PRIME)


def test_priming_ends_where_the_implement_comes_down_and_never_opens_a_section():
    lock = Interlock()
    lock.locked = 0
    lock.update(PRIMING_PERMITS, 1)
    assert lock.state == PRIMING and lock.outputs_on()
    assert not interlock.SECTIONS_ON >> PRIMING & 1
    lock.update(PRIMING_PERMITS | IMPLEMENT, 1)
    assert lock.state == APPLYING
    lock.update(PRIMING_PERMITS & ~SET_UP | IMPLEMENT, 1)
    assert lock.state == READY


def test_table_has_a_row_for_everything():
    last = interlock.TABLE[-1]
    assert last[:3] == (interlock.ANY, 0, 0)
