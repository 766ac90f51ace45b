"""Permits: what the interlock has to know about this tick, one bit each."""

from rate_control.faults import BLOCKING, SPEED_LOST
from rate_control.interlock import (
    BENCH_ASKED,
    IMPLEMENT,
    MASTER,
    NO_FAULT,
    PRIME,
    SECTION,
    SET_UP,
    SETTINGS_WHOLE,
    SPEED,
    STANDSTILL,
    STORE_IDLE,
    TICK,
)
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Measured, Request

# By Request.settings_state: taken on, not set up, lost. Those of a controller that was never set
# up are whole.
OF_SETTINGS = (SETTINGS_WHOLE | SET_UP, SETTINGS_WHOLE, SET_UP)


def collect(measured: "Measured", active_faults: int, tick_ok: int, bench_asked: int,
            request: "Request") -> int:
    """Return the mask of permits (see interlock.py), all but ARMED, which is the interlock's."""
    switches = measured.switches
    permits = OF_SETTINGS[request.settings_state]
    if switches & SWITCH_MASTER:
        permits |= MASTER
    if switches & SWITCH_IMPLEMENT:
        permits |= IMPLEMENT
    if measured.sections_on:
        permits |= SECTION
    if measured.moving:
        permits |= SPEED
    if measured.standing and not active_faults & SPEED_LOST:  # silent at speed is no standstill
        permits |= STANDSTILL
    if not active_faults & BLOCKING:
        permits |= NO_FAULT
    if tick_ok:
        permits |= TICK
    if bench_asked:
        permits |= BENCH_ASKED
    if request.prime_u16 >= 0:
        permits |= PRIME
    if not request.saving:
        permits |= STORE_IDLE
    return permits
