"""Permits: what the interlock has to know about this tick, one bit each."""

from rate_control import faults, interlock
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER


def collect(measured, request, sections, active_faults, tick_ok, bench_in_time):
    """Return the mask of permits (see interlock.py), all but ARMED, which is the interlock's."""
    permits = 0
    if measured.switches & SWITCH_MASTER:
        permits |= interlock.MASTER
    if measured.switches & SWITCH_IMPLEMENT:
        permits |= interlock.IMPLEMENT
    if measured.moving:
        permits |= interlock.SPEED
    if sections.switched_on(measured.switches):
        permits |= interlock.SECTION
    if not active_faults & faults.BLOCKING:
        permits |= interlock.NO_FAULT
    if tick_ok:
        permits |= interlock.TICK
    if not measured.speed_valid:
        permits |= interlock.STANDSTILL
    if request.bench and bench_in_time:
        permits |= interlock.BENCH_ASKED
    if not request.saving:
        permits |= interlock.STORE_IDLE
    return permits
