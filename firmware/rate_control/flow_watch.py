"""Whether the flow that the meter shows is what it should be by now. Conditions only."""

from rate_control.faults import RATE_OFF, TOO_MUCH_FLOW
from rate_control.interlock import APPLYING
from rate_control.records import Decided
from rate_control.units import ONE_Q20, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

PUMP_WAY_MS = 2000  # a pump is at its new flow sooner; a valve may need its whole travel
SENT_Q20 = ONE_Q20 // 3  # of its travel; a motor half as fast again overshoots by less
STILL_TICKS = 4000 // TICK_MS  # of a flow that does not move: nothing is on its way
SECTION_TICKS = 2000 // TICK_MS  # from a change of sections to a flow that can be compared


class FlowWatch:
    """Compares the flow with what was commanded, and with what is wanted.

    A machine far from its target is on its way: where a valve that comes from its stop is, or a
    pump against pressure stored from before, is reckoned too roughly to accuse it. One that does
    not arrive in time, or whose flow stands still, is judged by the target, however well it is
    reckoned. After a change of sections nobody is accused before the valves have moved and the
    line is calm.

    But a quarter more than both is too much on any way. A rotor that sticks and a pulse that is
    lost show too little; what shows too much is liquid, which must end, or noise, and nobody
    knows what that hides. And a valve that stands much further open than it was sent, as one that
    was left open before power-up, has no right of way in the field: it is judged by the target at
    once. On the bench it has, which is where a valve is brought to its place.
    """

    def __init__(self, settings: "Settings") -> None:
        self._floor_ul_s = settings.meter_floor_ul_s
        self._tolerance_q10 = settings.rate_tolerance_permille * 1024 // 1000
        way_ms = PUMP_WAY_MS
        self._sent_q20 = ONE_Q20  # trim from which a valve is not where it was sent
        if settings.actuator != PWM_PUMP:
            way_ms = settings.valve_travel_ms
            self._sent_q20 = SENT_Q20
        self._way_ticks_most = way_ms // TICK_MS
        self._way_ticks = 0  # that the machine has been off its target
        self._still_ul_s = 0  # the flow that has not moved
        self._still_ticks = 0  # for so long
        self._width_mm = 0
        self._emptying = 0  # the change left fewer sections on
        self._changing_ticks = 0  # that a change of sections still takes

    def conditions(self, flow_ul_s: int, decided: Decided) -> int:
        """Return the mask of conditions of a flow that can be read."""
        if decided.width_mm != self._width_mm:
            self._emptying = decided.width_mm < self._width_mm
            self._width_mm = decided.width_mm
            self._changing_ticks = SECTION_TICKS
        by_loop = decided.source == Decided.BY_LOOP
        target = decided.target_ul_s
        floor = self._floor_ul_s  # where a rotor is slow to tell: the tolerance shrinks no further
        near = (max(target, floor << 1) >> 4) * self._tolerance_q10 >> 6
        still = self._still_ul_s
        fell = flow_ul_s < still - (still >> 5)
        if fell or flow_ul_s > still + (still >> 5) or flow_ul_s < floor:
            self._still_ul_s = flow_ul_s
            self._still_ticks = 0
        else:
            self._still_ticks += 1
        due = decided.expected_ul_s
        rough = 0  # reckoned too roughly to accuse
        if not by_loop or -near <= due - target <= near:
            self._way_ticks = 0
            self._still_ticks = 0
        elif (self._way_ticks >= self._way_ticks_most or self._still_ticks >= STILL_TICKS
              or decided.trim_q20 > self._sent_q20 and decided.state == APPLYING):
            due = target
        elif not self._changing_ticks:
            self._way_ticks += 1
            rough = abs(due - target) > target >> 2
        most = max(target if by_loop and target > due else due, floor)
        mask = 0
        # a procedure may be learning the very curve; with fewer sections a slow line empties first
        if (flow_ul_s - most > most >> 2 and decided.source != Decided.BY_PROCEDURE
                and not (self._emptying and self._changing_ticks and fell)):
            mask = TOO_MUCH_FLOW
        if self._changing_ticks:
            self._changing_ticks -= 1
            self._still_ticks = 0
        elif target >= floor and not rough and not -near <= flow_ul_s - due <= near:
            mask |= RATE_OFF
        return mask
