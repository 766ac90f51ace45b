"""Permits: what the interlock has to know about this tick, one bit each."""

from rate_control.faults import BLOCKING
from rate_control.interlock import (
    BENCH_ASKED,
    IMPLEMENT,
    MASTER,
    NO_FAULT,
    SECTION,
    SPEED,
    STANDSTILL,
    STORE_IDLE,
    TICK,
)
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER


def collect(measured, active_faults, tick_ok, bench_asked, saving):
    """Return the mask of permits (see interlock.py), all but ARMED, which is the interlock's."""
    switches = measured.switches
    permits = 0
    if switches & SWITCH_MASTER:
        permits = MASTER
    if switches & SWITCH_IMPLEMENT:
        permits |= IMPLEMENT
    if measured.sections_on:
        permits |= SECTION
    if measured.moving:
        permits |= SPEED
    if measured.standing:
        permits |= STANDSTILL
    if not active_faults & BLOCKING:
        permits |= NO_FAULT
    if tick_ok:
        permits |= TICK
    if bench_asked:
        permits |= BENCH_ASKED
    if not saving:
        permits |= STORE_IDLE
    return permits
