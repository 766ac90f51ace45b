"""Plausibility: what in a tick contradicts itself. Conditions only; faults.py times them."""

from rate_control import faults
from rate_control.actuator import ONE_Q20
from rate_control.interlock import APPLYING, BENCH
from rate_control.intmath import isqrt, muldiv

BRAKING_MM_S2 = 5000  # half of gravity: no field machine stops harder


class Plausibility:
    """Compares what was commanded with what came back."""

    def __init__(self, settings):
        self._floor_ul_s = settings.meter_floor_ul_s
        self._tolerance_permille = settings.rate_tolerance_permille
        self._curve_tolerance_q20 = settings.curve_tolerance_permille * ONE_Q20 // 1000
        self._supply_low_mv = settings.supply_low_mv
        # braking from v takes v**2 / 2a; within one pulse of travel only below this speed
        mm_per_pulse = 1000000 // settings.speed_pulses_km
        self._lost_above_mm_s = isqrt(2 * BRAKING_MM_S2 * max(mm_per_pulse, 25))
        self._last_speed_mm_s = 0

    def conditions(self, measured, decided, tick_ok):
        """Return the mask of fault conditions that hold in this tick.

        decided still holds the tick before: what was commanded then is what came back now.
        """
        mask = 0 if tick_ok else faults.TICK_LATE
        if measured.supply_mv and measured.supply_mv < self._supply_low_mv:
            mask |= faults.SUPPLY_LOW
        if self._speed_lost(measured):
            mask |= faults.SPEED_LOST
        if decided.state == APPLYING or decided.state == BENCH:
            return mask | self._flow_conditions(measured, decided)
        if measured.flow_readable:  # below the floor it is the rotor running down
            mask |= faults.FLOW_WHILE_OFF
        return mask

    def _speed_lost(self, measured):
        """Return whether the speed signal ended faster than a machine can brake."""
        if measured.speed_pulses and measured.speed_valid:
            self._last_speed_mm_s = measured.speed_mm_s
        return not measured.speed_valid and self._last_speed_mm_s > self._lost_above_mm_s

    def _flow_conditions(self, measured, decided):
        mask = 0
        if decided.command_ul_s >= self._floor_ul_s and not measured.flow_valid:
            mask |= faults.FLOW_MISSING
        if decided.saturated > 0:
            mask |= faults.AT_LIMIT
        if abs(decided.trim_q20) > self._curve_tolerance_q20:
            mask |= faults.OFF_CURVE
        if measured.flow_valid and decided.target_ul_s >= self._floor_ul_s:
            allowed = muldiv(decided.target_ul_s, self._tolerance_permille, 1000)
            if abs(measured.flow_ul_s - decided.expected_ul_s) > allowed:
                mask |= faults.RATE_OFF
        return mask
