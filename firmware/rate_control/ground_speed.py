"""Ground speed and distance from the speed sensor's pulses."""

from rate_control.intmath import clamp
from rate_control.pulse_counter import PulseCounter
from rate_control.units import SPEED_MAX_MM_S, TICK_MS

MOST_MM = SPEED_MAX_MM_S * TICK_MS // 870  # in a tick, 15 % more; what is beyond is not ground
SLOPE_TICKS = 4  # over which the acceleration is taken: longer lags, shorter flickers


class GroundSpeed:
    """Fills the speed fields of Measured once a tick."""

    def __init__(self, settings):
        self._pulses_km = settings.speed_pulses_km
        # 1e12 nm in a kilometre; made at set-up, where a long int may live for a moment
        nm_per_pulse = 1000000000000 // settings.speed_pulses_km
        self._counter = PulseCounter(
            settings.speed_average_pulses, settings.speed_timeout_ms * 1000, nm_per_pulse)
        self._cutoff_mm_s = settings.speed_cutoff_mm_s
        self._stop_below_mm_s = settings.speed_cutoff_mm_s * 7 // 8
        self._most_pulses = min(max(MOST_MM * settings.speed_pulses_km // 1000000, 1), 512)
        self._look_ahead_ms = settings.look_ahead_ms
        self._past_mm_s = [0] * SLOPE_TICKS
        self._slot = 0
        self._carry = 0

    def update(self, inputs, now_us, measured):
        """Estimate the speed; count the distance exactly, carrying the remainder."""
        counter = self._counter
        # nm per pulse and pulses per us: mm/s
        speed = counter.update(inputs.speed_count, inputs.speed_edge_us, now_us)
        valid = counter.valid
        if speed > SPEED_MAX_MM_S:
            speed = SPEED_MAX_MM_S
            valid = 0
        measured.speed_valid = valid
        measured.speed_mm_s = speed
        measured.speed_ahead_mm_s = self._ahead(speed)
        limit = self._stop_below_mm_s if measured.moving else self._cutoff_mm_s
        measured.moving = 1 if valid and speed >= limit else 0
        pulses = counter.pulses
        if pulses > self._most_pulses:
            pulses = self._most_pulses
        measured.speed_pulses = pulses
        travelled = self._carry + pulses * 1000000
        pulses_km = self._pulses_km
        measured.distance_mm = travelled // pulses_km
        self._carry = travelled % pulses_km

    def _ahead(self, speed):
        """Return the speed that the machine will have when the flow gets to the outlets.

        A straight line through the last ticks. The flow that is commanded now arrives after
        the machine's delay and lag, so it must suit the ground speed of that moment.
        """
        slot = self._slot
        before = self._past_mm_s[slot]
        self._past_mm_s[slot] = speed
        self._slot = slot + 1 if slot < SLOPE_TICKS - 1 else 0
        if not before or not speed:
            return speed  # just moved off or stopping: no slope to trust
        gain = (speed - before) * self._look_ahead_ms // (SLOPE_TICKS * TICK_MS)
        half = speed >> 1
        ahead = speed + clamp(gain, -half, half)
        return ahead if ahead < SPEED_MAX_MM_S else SPEED_MAX_MM_S
