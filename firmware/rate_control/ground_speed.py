"""Ground speed and distance, from the speed sensor's pulses or a receiver's reports."""

from rate_control.believable import CHANGE_MM_S2, RISE_MM_S, SENSOR_MM, Belief, standstill_ticks
from rate_control.intmath import muldiv
from rate_control.pulse_counter import PulseCounter
from rate_control.reported_speed import ReportedSpeed
from rate_control.units import (
    BY_BOTH,
    BY_GNSS,
    BY_PULSES,
    PWM_PUMP,
    REPORTING,
    SPEED_MAX_MM_S,
    TICK_MS,
    TICK_US,
)

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Inputs, Measured
    from rate_control.settings import Settings
    from rate_control.slip import Slip
    from rate_control.wheel_turn import WheelTurn

MOST_MM = SPEED_MAX_MM_S * TICK_MS // 870  # in a tick, 15 % more; what is beyond is not ground
SLOPE_TICKS = 4  # over which the acceleration is taken, or as far as the window of pulses goes


class GroundSpeed:
    """Fills the speed fields of Measured once a tick."""

    def __init__(self, settings: "Settings") -> None:
        nm_per_pulse = 1000000000000 // settings.speed_pulses_km  # nm a km; long at set-up only
        timeout_us = settings.speed_timeout_ms * 1000
        self._counter = PulseCounter(settings.speed_average_pulses, timeout_us, nm_per_pulse)
        self._reported = [ReportedSpeed(timeout_us) for _ in range(REPORTING)]
        self._belief = Belief(settings)
        both = settings.speed_source == BY_BOTH
        self._source = 0 if both else settings.speed_source  # 0: the pulses
        self._way_by_speed = settings.speed_source != BY_PULSES  # a wheel's way has its slip
        # a millimetre has so many of what is counted: millionths of a pulse, or mm/s x ms
        self._parts_mm = 1000 if self._way_by_speed else settings.speed_pulses_km
        self._cutoff_mm_s = settings.speed_cutoff_mm_s
        self._stop_below_mm_s = settings.speed_cutoff_mm_s * 7 // 8
        self._most_pulses = min(MOST_MM * settings.speed_pulses_km // 1000000, 512)
        # before a speed is known: a sensor may be blind to the first millimetres
        self._first_pulses = max(SENSOR_MM * settings.speed_pulses_km // 1000000, 1)
        self._most_ahead_mm_s = settings.look_ahead_ms * CHANGE_MM_S2 // 1000
        third_ms = TICK_MS - min(abs(settings.look_ahead_ms // 3 - TICK_MS), TICK_MS)
        self.first_lead_ms = settings.look_ahead_ms - third_ms
        self.second_lead_ms = 2 * third_ms
        self._standstill_ticks = standstill_ticks(settings)
        self._standing_in = self._standstill_ticks  # ticks, if no source sees motion until then
        self._short_line = settings.actuator == PWM_PUMP and not self._source
        self._past_mm_s = [0] * SLOPE_TICKS
        self._slot = 0
        self._led_mm_s = self._carry = 0  # led: what the first lead made of the last speed, 0: none
        self._refiners: "list[WheelTurn | Slip]" = []  # loaded where a setting asks for them
        if settings.speed_turn_pulses and not self._source:
            from rate_control.wheel_turn import WheelTurn
            self._refiners.append(WheelTurn(settings, self._counter))
        if both:
            from rate_control.slip import Slip
            self._refiners.append(Slip(self._reported[BY_GNSS - 1]))

    def update(self, inputs: "Inputs", now_us: int, measured: "Measured") -> None:
        """Estimate the speed; count the distance exactly, carrying the remainder."""
        counter = self._counter
        belief = self._belief
        speed = counter.update(inputs.speed_count, inputs.speed_edge_us, now_us)  # nm a us: mm/s
        pulses = counter.pulses
        if pulses:
            self._standing_in = self._standstill_ticks
            measured.standing = 0
        elif self._standing_in:
            self._standing_in -= 1
            measured.standing = 0 if self._standing_in else 1
        measured.speed_seen = pulses
        if not counter.following and belief.calm and not self._source:  # they ended, at this speed
            measured.speed_last_seen_mm_s = min(counter.latest(), SPEED_MAX_MM_S)
        if self._source or inputs.reporting:
            speed = self._with_reports(speed, inputs, now_us, measured)
        elif counter.following:
            speed = belief.update(speed, counter.valid, pulses)
        else:
            speed = belief.silent(measured)
        for refiner in self._refiners:
            speed = refiner.refine(speed, now_us)
        measured.speed_valid = belief.valid
        measured.speed_jumped = belief.odd
        measured.speed_mm_s = speed
        measured.speed_ahead_mm_s = self._ahead(speed) if self._most_ahead_mm_s else speed
        limit = self._stop_below_mm_s if measured.moving else self._cutoff_mm_s
        measured.moving = 1 if belief.proved and speed >= limit else 0
        if pulses > self._most_pulses:
            pulses = self._most_pulses
        measured.speed_pulses = pulses
        plain = belief.calm and not self._way_by_speed  # as mostly: not worth a call
        travelled = self._carry + (pulses * 1000000 if plain else self._way(pulses, speed))
        parts_mm = self._parts_mm
        measured.distance_mm = travelled // parts_mm
        self._carry = travelled % parts_mm

    def _way(self, pulses: int, speed: int) -> int:
        """Return the way of a tick in parts: of pulses not believed only the held speed counts."""
        if self._way_by_speed:
            return speed * TICK_MS
        belief = self._belief
        if belief.jumped:
            return muldiv(speed * TICK_MS, self._parts_mm, 1000)
        if not belief.valid and pulses > self._first_pulses:
            pulses = self._first_pulses
        return pulses * 1000000

    def _with_reports(self, by_pulses: int, inputs: "Inputs", now_us: int,
                      measured: "Measured") -> int:
        """Return the speed by the source of the settings; another one is kept to compare."""
        counter = self._counter
        belief = self._belief
        source = self._source
        measured.speed_other_mm_s = -1
        if source and counter.valid:
            measured.speed_other_mm_s = min(by_pulses, SPEED_MAX_MM_S)
        mine = 0
        index = 0
        for reported in self._reported:
            speed = reported.update(inputs.reports[index], now_us)
            index += 1
            if not reported.valid:
                if index == source:  # without a fix it cannot tell that it stands
                    self._unproved(measured)
                continue
            if speed >= self._stop_below_mm_s:
                self._unproved(measured)
            if index == source:
                mine = speed
            else:
                measured.speed_other_mm_s = speed
        if not source:
            if counter.following:
                return belief.update(by_pulses, counter.valid, counter.pulses)
            return belief.silent(measured)
        reported = self._reported[source - 1]
        measured.speed_seen = reported.valid
        if reported.valid:
            if measured.standing:
                belief.from_rest = 1
            return belief.update(mine, 1, reported.fresh)
        return belief.silent(measured)

    def _unproved(self, measured: "Measured") -> None:
        """Count anew until it stands."""
        self._standing_in = self._standstill_ticks
        measured.standing = 0

    def _ahead(self, speed: int) -> int:
        """Return the speed that the machine will have when the flow gets to the outlets.

        It is on a straight line through the last estimates: a long one, or a valve would wear; for
        a pump a short one, or rough ground would show too late. A pump lags twice and is led twice,
        by two thirds; from 0.15 s on the second is less, for two long ones bring much flicker.
        """
        past = self._past_mm_s
        slot = self._slot
        ticks = SLOPE_TICKS
        if self._short_line:
            window_us = self._counter.window_us + TICK_US // 2
            if window_us < SLOPE_TICKS * TICK_US:
                ticks = window_us // TICK_US or 1
        before = past[slot - ticks]  # below 0 a list counts from its end, as a ring does
        past[slot] = speed
        self._slot = slot + 1 if slot < SLOPE_TICKS - 1 else 0
        if not before or not speed:
            self._led_mm_s = 0
            return speed  # just moved off or stopping: no slope to trust
        gain = speed - before
        most = self._most_ahead_mm_s
        if ticks == 1 and -RISE_MM_S <= gain <= RISE_MM_S:
            gain = gain * self.first_lead_ms // TICK_MS
            was_led = self._led_mm_s
            self._led_mm_s = led = speed + gain
            if was_led:
                gain += (led - was_led) * self.second_lead_ms // TICK_MS
            most += most
        else:
            self._led_mm_s = 0
            gain = gain * most // (ticks * RISE_MM_S)  # most is for the fastest rise
        if most > speed >> 1:
            most = speed >> 1
        if gain > most:
            gain = most
        ahead = speed + (gain if gain > -most else -most)
        return ahead if ahead < SPEED_MAX_MM_S else SPEED_MAX_MM_S
