"""Plausibility: what in a tick contradicts itself. Conditions only; faults.py times them."""

from rate_control import faults
from rate_control.believable import unseen_mm_s
from rate_control.interlock import OUTPUTS_ON
from rate_control.records import Decided
from rate_control.section_watch import SectionWatch
from rate_control.switch_watch import SwitchWatch
from rate_control.units import FLOW_MAX_UL_S, ONE_Q20, PWM_PUMP, TICK_MS

PUMP_WAY_MS = 2000  # a pump is at its new flow sooner; a valve may need its whole travel
SECTION_TICKS = 2000 // TICK_MS  # from a change of sections to a flow that can be compared
SPEED_NEAR_MM_S = 100  # what a GNSS receiver may be off, however slow


def differ(speed_mm_s, other_mm_s):
    """Return whether two speeds are further apart than a tenth of the lower one, and a little."""
    near = min(speed_mm_s, other_mm_s) // 10 + SPEED_NEAR_MM_S
    return not -near <= speed_mm_s - other_mm_s <= near


class Plausibility:
    """Compares what was commanded with what came back."""

    def __init__(self, settings):
        self._floor_ul_s = settings.meter_floor_ul_s
        self._tolerance_q10 = settings.rate_tolerance_permille * 1024 // 1000
        self._curve_tolerance_q20 = settings.curve_tolerance_permille * ONE_Q20 // 1000
        self._supply_low_mv = settings.supply_low_mv
        self._switches = SwitchWatch(settings)
        # a valve is moved until the flow is right, so that it has no trim
        self._sections = SectionWatch(settings) if settings.actuator == PWM_PUMP else None
        self._lost_above_mm_s = unseen_mm_s(settings)
        way_ms = PUMP_WAY_MS if settings.actuator == PWM_PUMP else settings.valve_travel_ms
        self._way_ticks_most = way_ms // TICK_MS
        self._width_mm = 0
        self._changing_ticks = 0  # that a change of sections still takes
        self._way_ticks = 0  # that the machine has been off its target
        self._least_off_ul_s = FLOW_MAX_UL_S  # that the meter has shown since the outputs went off

    def conditions(self, measured, decided, tick_ok):
        """Return the mask of conditions of this tick; decided still holds the tick before."""
        mask = self._switches.conditions(measured) | (0 if tick_ok else faults.TICK_LATE)
        supply_mv = measured.supply_mv
        if supply_mv and supply_mv < self._supply_low_mv:
            mask |= faults.SUPPLY_LOW
        speed = measured.speed_mm_s
        if measured.speed_valid:
            if measured.speed_seen:
                measured.speed_last_seen_mm_s = speed
        elif measured.speed_last_seen_mm_s > self._lost_above_mm_s:  # no machine can brake so fast
            mask |= faults.SPEED_LOST
        if measured.speed_jumped:
            mask |= faults.SPEED_JUMPED
        other = measured.speed_other_mm_s
        if other >= 0 and differ(speed, other):
            mask |= faults.SPEED_DIFFERS
        if not OUTPUTS_ON >> decided.state & 1:
            if self._sections is not None:
                self._sections.rest()
            if self._flows_on(measured):
                mask |= faults.FLOW_WHILE_OFF
            return mask
        self._least_off_ul_s = FLOW_MAX_UL_S
        target = decided.target_ul_s
        floor = self._floor_ul_s
        if not measured.flow_valid:
            if decided.command_ul_s >= floor:
                mask |= faults.FLOW_MISSING
        elif target >= floor and self._is_off(measured.flow_ul_s, target, decided):
            mask |= faults.RATE_OFF
        if decided.saturated > 0:
            mask |= faults.AT_LIMIT
        near = self._curve_tolerance_q20
        if not -near <= decided.trim_q20 <= near:
            mask |= faults.OFF_CURVE
        if self._sections is not None and self._sections.differ(decided):
            mask |= faults.SECTIONS_DIFFER
        return mask

    def _flows_on(self, measured):
        """Return whether the meter shows a flow that stays, while everything should be shut.

        Below the meter floor it is the rotor running down. A flow that goes on falling, by more
        than an eighth within the delay of the warning, is liquid that fills the hoses: a pump on
        a shaft goes on pressing behind shut section valves. A leak comes to rest.
        """
        if not measured.flow_readable:
            self._least_off_ul_s = FLOW_MAX_UL_S
            return 0
        least = self._least_off_ul_s
        if measured.flow_ul_s < least - (least >> 3):
            self._least_off_ul_s = measured.flow_ul_s
            return 0
        return 1

    def _is_off(self, flow_ul_s, target_ul_s, decided):
        """Return whether the flow is off what it should be by now.

        A machine far from its target is on its way: where a valve that comes from its stop is, or
        a pump against pressure stored from before, is reckoned too roughly to accuse it. One
        that does not arrive in time is judged by the target, however well it is reckoned. After
        a change of sections nobody is accused before the valves have moved and the line is calm.
        """
        if decided.width_mm != self._width_mm:
            self._width_mm = decided.width_mm
            self._changing_ticks = SECTION_TICKS
        if self._changing_ticks:
            self._changing_ticks -= 1
            return 0
        # a rotor near its floor is slow to tell: the tolerance shrinks no further there
        near = (max(target_ul_s, self._floor_ul_s << 1) >> 4) * self._tolerance_q10 >> 6
        expected = decided.expected_ul_s
        to_go = abs(expected - target_ul_s)
        if to_go <= near or decided.source != Decided.BY_LOOP:
            self._way_ticks = 0
        elif self._way_ticks >= self._way_ticks_most:
            expected = target_ul_s
        else:
            self._way_ticks += 1
            if to_go > target_ul_s >> 2:
                return 0
        return not -near <= flow_ul_s - expected <= near
