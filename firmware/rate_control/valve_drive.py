"""The motorised regulating valve: an actuator that moves by time and remembers.

Its position is reckoned from how long the motor was driven, and put right by the meter: the
pump curve says which position belongs to the flow that is read. 0 is no flow, DUTY_FULL is the
full flow, whichever way the valve itself turns for that.
"""

from rate_control.intmath import clamp, muldiv, muldiv_signed
from rate_control.share import BYPASS_VALVE
from rate_control.units import DUTY_FULL, TICK_MS

THERE_MS = 2  # motor time left that is not worth another tick


class ValveDrive:
    """Turns a wanted position into motor pulses."""

    def __init__(self, settings):
        self.position_u16 = DUTY_FULL // 2  # not known until the meter or a homing tells
        self.resting = 1
        self._travel_ms = settings.valve_travel_ms
        self._min_pulse_ms = settings.valve_min_pulse_ms
        self._start_ms = settings.valve_lost_ms
        self._play_ms = settings.valve_play_ms
        self._sign = -1 if settings.actuator == BYPASS_VALVE else 1
        self._direction = 0  # of the last pulse, towards more flow positive
        self._lost_ms = 0  # motor time still to go that will not move the valve

    def toward(self, demand_u16):
        """Return the pulse of this tick towards a position, + opens the valve itself.

        At rest a gap smaller than the shortest pulse is left alone; once moving, the valve goes
        on until it is there. A demand below 0 runs against the stop, which makes 0 known.
        """
        gap = demand_u16 - self.position_u16
        need_ms = muldiv(abs(gap), self._travel_ms, DUTY_FULL)
        if need_ms < (self._min_pulse_ms if self.resting else THERE_MS):
            self.resting = 1
            return 0
        direction = 1 if gap > 0 else -1
        if self.resting or direction != self._direction:
            self._lost_ms = self._start_ms
        if direction != self._direction:
            self._lost_ms += self._play_ms
            self._direction = direction
        self.resting = 0
        pulse_ms = min(need_ms + self._lost_ms, TICK_MS)
        moved_ms = max(pulse_ms - self._lost_ms, 0)
        self._lost_ms -= pulse_ms - moved_ms
        moved_u16 = direction * muldiv(DUTY_FULL, moved_ms, self._travel_ms)
        self.position_u16 = clamp(self.position_u16 + moved_u16, 0, DUTY_FULL)
        return direction * pulse_ms * self._sign

    def correct(self, error_u16, gain_q20):
        """Put the reckoned position right by a part of an error found with the meter."""
        self.position_u16 = clamp(
            self.position_u16 + muldiv_signed(error_u16, gain_q20, 1048576), 0, DUTY_FULL)
