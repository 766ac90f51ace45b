"""The motorised regulating valve: an actuator that moves by time and remembers.

Its position is reckoned from how long the motor was driven, and put right by the meter: the
pump curve says which position belongs to the flow that is read. 0 is no flow, DUTY_FULL is the
full flow, whichever way the valve itself turns for that.
"""

from rate_control.intmath import clamp, muldiv, muldiv_signed
from rate_control.share import BYPASS_VALVE
from rate_control.units import DUTY_FULL, TICK_MS


class ValveDrive:
    """Turns a wanted position into motor pulses."""

    def __init__(self, settings):
        self.position_u16 = DUTY_FULL // 2  # not known until the meter or a homing tells
        self.resting = 1
        self._travel_ms = settings.valve_travel_ms
        self._min_pulse_ms = settings.valve_min_pulse_ms
        self._play_ms = settings.valve_play_ms
        self._sign = -1 if settings.actuator == BYPASS_VALVE else 1
        self._direction = 0  # of the last pulse, towards more flow positive
        self._play_left_ms = 0

    def lose_position(self):
        """Assume the far end and more, so that a demand of 0 runs against the stop."""
        self.position_u16 = DUTY_FULL + DUTY_FULL // 4

    def toward(self, demand_u16):
        """Return the pulse of this tick towards a position, + opens the valve itself.

        A gap smaller than the shortest pulse is left alone; once moving, the valve goes on to
        the middle of that dead band, so noise at its edge does not start it again and again.
        """
        gap = demand_u16 - self.position_u16
        need_ms = muldiv(abs(gap), self._travel_ms, DUTY_FULL)
        if need_ms < (self._min_pulse_ms if not self.resting else 2 * self._min_pulse_ms):
            self.resting = 1
            return 0
        direction = 1 if gap > 0 else -1
        if direction != self._direction:
            self._direction = direction
            self._play_left_ms = self._play_ms
        self.resting = 0
        pulse_ms = min(need_ms + self._play_left_ms, TICK_MS)
        moved_ms = max(pulse_ms - self._play_left_ms, 0)
        self._play_left_ms -= pulse_ms - moved_ms
        self.position_u16 += direction * muldiv(DUTY_FULL, moved_ms, self._travel_ms)
        return direction * pulse_ms * self._sign

    def correct(self, error_u16, gain_q20):
        """Put the reckoned position right by a part of an error found with the meter."""
        self.position_u16 = clamp(
            self.position_u16 + muldiv_signed(error_u16, gain_q20, 1048576), 0, DUTY_FULL)
