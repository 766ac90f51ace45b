"""The interlock, enumerated completely against a second, independent statement of the rule."""

from rate_control import interlock
from rate_control.interlock import (
    APPLYING,
    APPLYING_PERMITS,
    ARMED,
    BENCH,
    BENCH_PERMITS,
    FAULT,
    MASTER,
    NO_FAULT,
    PARKED,
    READY,
    TICK,
    Interlock,
)

STATES = (PARKED, READY, APPLYING, BENCH, FAULT)


def expected(state, locked, permits):
    """Return (state, locked) after one tick, written as sentences instead of a table."""
    if not permits & MASTER:
        locked = 0
    if not locked:
        permits |= ARMED
    if not permits & NO_FAULT:
        return FAULT, 1
    if not permits & MASTER:
        return PARKED, locked
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
    return READY, 0


def test_every_state_lock_and_permit():
    lock = Interlock()
    for state in STATES:
        for locked in (0, 1):
            for permits in range(1024):
                if permits & ARMED:
                    continue
                lock.state = state
                lock.locked = locked
                lock.update(permits)
                assert (lock.state, lock.locked) == expected(state, locked, permits), (
                    state, locked, permits)


def test_every_single_missing_permit_stops_applying():
    lock = Interlock()
    for bit in range(10):
        missing = 1 << bit
        if missing == ARMED or not APPLYING_PERMITS & missing:
            continue
        lock.state = APPLYING
        lock.locked = 0
        lock.update(APPLYING_PERMITS & ~missing)
        assert lock.state != APPLYING


def test_nothing_starts_by_itself_after_power_up():
    lock = Interlock()
    for _ in range(100):
        lock.update(APPLYING_PERMITS & ~ARMED)
        assert lock.state == PARKED
    lock.update(APPLYING_PERMITS & ~ARMED & ~MASTER)
    lock.update(APPLYING_PERMITS & ~ARMED)
    assert lock.state == APPLYING


def test_a_cleared_fault_does_not_restart():
    lock = Interlock()
    lock.locked = 0
    lock.update(APPLYING_PERMITS)
    assert lock.state == APPLYING
    lock.update(APPLYING_PERMITS & ~NO_FAULT)
    assert lock.state == FAULT
    lock.update(APPLYING_PERMITS)
    assert lock.state == FAULT
    lock.update(APPLYING_PERMITS & ~MASTER)
    assert lock.state == PARKED
    lock.update(APPLYING_PERMITS)
    assert lock.state == APPLYING


def test_table_has_a_row_for_everything():
    last = interlock.TABLE[-1]
    assert last[:3] == (interlock.ANY, 0, 0)
