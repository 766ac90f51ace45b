"""Plausibility: what in a tick contradicts itself. Conditions only; faults.py times them."""

from rate_control import faults
from rate_control.interlock import APPLYING, BENCH
from rate_control.intmath import isqrt
from rate_control.units import ONE_Q20

BRAKING_MM_S2 = 5000  # half of gravity: no field machine stops harder


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
        # braking from v takes v**2 / 2a; within one pulse of travel only below this speed
        mm_per_pulse = 1000000 // settings.speed_pulses_km
        self._lost_above_mm_s = isqrt(2 * BRAKING_MM_S2 * max(mm_per_pulse, 25))

    def conditions(self, measured, decided, tick_ok):
        """Return the mask of fault conditions that hold in this tick.

        decided still holds the tick before: what was commanded then is what came back now.
        """
        mask = 0 if tick_ok else faults.TICK_LATE
        supply_mv = measured.supply_mv
        if supply_mv and supply_mv < self._supply_low_mv:
            mask |= faults.SUPPLY_LOW
        speed = measured.speed_mm_s
        if measured.speed_valid:
            if measured.speed_seen:
                measured.speed_last_seen_mm_s = speed
        elif measured.speed_last_seen_mm_s > self._lost_above_mm_s:  # no machine can brake so fast
            mask |= faults.SPEED_LOST
        other = measured.speed_other_mm_s
        if other >= 0 and differ(speed, other):
            mask |= faults.SPEED_DIFFERS
        state = decided.state
        if state != APPLYING and state != BENCH:
            if measured.flow_readable:  # below the floor it is the rotor running down
                mask |= faults.FLOW_WHILE_OFF
            return mask
        target = decided.target_ul_s
        floor = self._floor_ul_s
        if not measured.flow_valid:
            if decided.command_ul_s >= floor:
                mask |= faults.FLOW_MISSING
        elif target >= floor:
            near = (target >> 4) * self._tolerance_q10 >> 6
            if not -near <= measured.flow_ul_s - decided.expected_ul_s <= near:
                mask |= faults.RATE_OFF
        if decided.saturated > 0:
            mask |= faults.AT_LIMIT
        near = self._curve_tolerance_q20
        if not -near <= decided.trim_q20 <= near:
            mask |= faults.OFF_CURVE
        return mask
