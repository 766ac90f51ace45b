"""Plausibility: what in a tick contradicts itself. Conditions only; faults.py times them."""

from rate_control import faults
from rate_control.intmath import muldiv
from rate_control.interlock import APPLYING, BENCH

SPEED_LOST_MM_S = 1000  # a sensor that falls silent above this did not just slow down


class Plausibility:
    """Compares what was commanded with what came back."""

    def __init__(self, settings):
        self._floor_ul_s = settings.meter_floor_ul_s
        self._tolerance_permille = settings.rate_tolerance_permille
        self._supply_low_mv = settings.supply_low_mv
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
        if measured.flow_valid:
            mask |= faults.FLOW_WHILE_OFF
        return mask

    def _speed_lost(self, measured):
        """Return whether the speed signal ended without slowing down first."""
        if measured.speed_valid:
            self._last_speed_mm_s = measured.speed_mm_s
        return not measured.speed_valid and self._last_speed_mm_s > SPEED_LOST_MM_S

    def _flow_conditions(self, measured, decided):
        mask = 0
        if decided.command_ul_s >= self._floor_ul_s and not measured.flow_valid:
            mask |= faults.FLOW_MISSING
        if decided.saturated > 0:
            mask |= faults.AT_LIMIT
        if not decided.coasting and decided.target_ul_s:
            allowed = muldiv(decided.target_ul_s, self._tolerance_permille, 1000)
            if abs(measured.flow_ul_s - decided.expected_ul_s) > allowed:
                mask |= faults.RATE_OFF
        return mask
