"""Plausibility: what in a tick contradicts itself. Conditions only; faults.py times them."""

from rate_control import faults
from rate_control.believable import unseen_mm_s
from rate_control.flow_watch import FlowWatch
from rate_control.interlock import BENCH, SECTIONS_ON
from rate_control.section_watch import SectionWatch
from rate_control.switch_watch import SwitchWatch
from rate_control.units import FLOW_MAX_UL_S, ONE_Q20, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings

SPEED_NEAR_MM_S = 100  # what a GNSS receiver may be off, however slow
NOISE_TICKS = 2000 // TICK_MS  # that a burst of it is shown


def differ(speed_mm_s: int, other_mm_s: int) -> int:
    """Return whether two speeds are further apart than a tenth of the lower one, and a little."""
    near = min(speed_mm_s, other_mm_s) // 10 + SPEED_NEAR_MM_S
    return not -near <= speed_mm_s - other_mm_s <= near


class Plausibility:
    """Compares what was commanded with what came back."""

    def __init__(self, settings: "Settings") -> None:
        self._flow = FlowWatch(settings)
        self._floor_ul_s = settings.meter_floor_ul_s
        self._curve_tolerance_q20 = settings.curve_tolerance_permille * ONE_Q20 // 1000
        self._supply_low_mv = settings.supply_low_mv
        self._switches = SwitchWatch(settings)
        # a valve is moved until the flow is right: its trim says nothing about sections
        self._sections = SectionWatch(settings) if settings.actuator == PWM_PUMP else None
        self._lost_above_mm_s = unseen_mm_s(settings)
        self._noise_ticks = 0  # that noise at the meter is still shown
        self._least_off_ul_s = FLOW_MAX_UL_S  # that the meter has shown since the outputs went off

    def conditions(self, measured: "Measured", decided: "Decided", tick_ok: int) -> int:
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
        if measured.flow_noise or self._noise_ticks:
            mask |= self._noise(measured, decided)
        if not SECTIONS_ON >> decided.state & 1:
            if self._sections is not None:
                self._sections.rest()
            if self._flows_on(measured):
                mask |= faults.FLOW_WHILE_OFF
            return mask
        self._least_off_ul_s = FLOW_MAX_UL_S
        if measured.flow_valid:
            mask |= self._flow.conditions(measured.flow_ul_s, decided)
        elif decided.command_ul_s >= self._floor_ul_s:
            mask |= faults.FLOW_MISSING
        if decided.saturated > 0:
            mask |= faults.AT_LIMIT
        near = self._curve_tolerance_q20
        if not -near <= decided.trim_q20 <= near:
            mask |= faults.OFF_CURVE
        if self._sections is not None and self._sections.differ(decided):
            mask |= faults.SECTIONS_DIFFER
        return mask

    def _noise(self, measured: "Measured", decided: "Decided") -> int:
        """Return the condition of pulses that cannot be liquid, which outlasts them for a while.

        It is judged by the pump curve, which on the bench may not be this machine's yet.
        """
        if measured.flow_noise and decided.state != BENCH:
            self._noise_ticks = NOISE_TICKS
        elif self._noise_ticks:
            self._noise_ticks -= 1
        return faults.METER_NOISE if self._noise_ticks else 0

    def _flows_on(self, measured: "Measured") -> int:
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
