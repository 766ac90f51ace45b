"""The motorised regulating valve: an actuator that moves by time and remembers.

Its position is reckoned from how long the motor was driven, and put right by the meter: the
pump curve says which position belongs to the flow that is read. 0 is no flow, DUTY_FULL is the
full flow, whichever way the valve itself turns for that.

What the meter put right of late is the slip. It is bounded: a valve that is further shut than its
motor drove it and a meter that misses pulses look alike, but no motor loses a fifth of its way at
once, and the other error puts too much on the ground.
"""

from rate_control.intmath import muldiv
from rate_control.units import BYPASS_VALVE, DUTY_FULL, ONE_Q20, TICK_MS
from rate_control.valve_motor import THERE_MS, ValveMotor

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

# How far a valve may be further shut than it was driven: a part of its travel, and of its way of
# late, since the pace of a motor follows its supply. Where it is nearly shut, less tells as much.
SLIP_U16 = DUTY_FULL // 20
PACE_SHIFT = 3
SLIP_LEAST_U16 = DUTY_FULL // 64
SLIP_MOST_U16 = DUTY_FULL // 7
FORGET_SHIFT = 8  # of late: slip and way fade in 2**8 ticks of a steady meter, 13 s


class ValveDrive:
    """Turns a wanted position into motor pulses."""

    def __init__(self, settings: "Settings") -> None:
        # Where the valve was left is not known until the meter or a homing tells. It can only
        # be further open than this.
        self.position_u16 = 0
        self.known = 0
        self.slip_u16 = 0  # above 0: further open than it was driven
        self._from_u16 = 0  # where it has been of late
        self.resting = 1
        self._min_pulse_ms = settings.valve_min_pulse_ms
        self._play_ms = settings.valve_play_ms
        self.motor = ValveMotor(settings)
        self._sign = -1 if settings.actuator == BYPASS_VALVE else 1
        self.shutting_ms = 0  # until the section valves are shut that have been told to
        self._stopping = 0  # the motor runs out: a start now is not the one that was measured
        self._direction = 0  # of the last pulse, towards more flow positive
        self._lost_ms = 0  # motor time that the start still takes
        # Where in its play it is: 0 would close at once, the whole would open. After power-up that
        # is not known; the other belief would open it too far.
        self._slack_ms = self._play_ms
        self._owed_ms = 0  # of the shortest pulse, still to go

    def toward(self, demand_u16: int) -> int:
        """Return the pulse of this tick towards a position, + opens the valve itself.

        At rest a gap of less than half the smallest movement is left alone; once moving, the
        valve goes on until it is there. A demand below 0 runs against the stop. While sections
        are shutting it closes only so early that it is there with them: until then their liquid
        still flows, and would be taken from the others.
        """
        shutting_ms = self.shutting_ms
        if shutting_ms:
            self.shutting_ms = shutting_ms - TICK_MS if shutting_ms > TICK_MS else 0
        if self._stopping:
            self._stopping = 0
            return 0
        motor = self.motor
        gap = demand_u16 - self.position_u16
        need_ms = muldiv(abs(gap), motor.travel_ms, DUTY_FULL)
        direction = 1 if gap > 0 else -1
        if self._owed_ms:
            if direction != self._direction:
                direction = self._direction
                need_ms = 0
        elif self.resting:
            if need_ms < motor.near_ms:
                return 0
            late_ms = need_ms + self._slack_ms + motor.start_ms
            if direction < 0 <= demand_u16 and late_ms < shutting_ms:
                return 0
            self._start(direction)
        elif need_ms < THERE_MS or direction != self._direction:
            self.resting = 1
            return 0
        return self._pulse_ms(need_ms) * direction * self._sign

    def halt(self) -> None:
        """Take that the motor was cut off, in the midst of a move or not: the next is a start."""
        self.resting = 1
        self._owed_ms = 0
        self.shutting_ms = 0

    def _start(self, direction: int) -> None:
        self._direction = direction
        self._lost_ms = self.motor.start_ms
        self._owed_ms = self._min_pulse_ms
        self.motor.begin(direction)

    def _pulse_ms(self, need_ms: int) -> int:
        """Return how long to drive in this tick, and reckon where that leads."""
        opening = self._direction > 0
        slack_ms = self._play_ms - self._slack_ms if opening else self._slack_ms
        lost_ms = self._lost_ms
        owed_ms = self._owed_ms
        pulse_ms = need_ms + lost_ms + slack_ms
        if pulse_ms < owed_ms:
            pulse_ms = owed_ms
        if pulse_ms > TICK_MS:
            pulse_ms = TICK_MS
        self._owed_ms = owed_ms - pulse_ms if owed_ms > pulse_ms else 0
        if pulse_ms < TICK_MS:  # it stops before the next tick, and runs on for a little
            self.resting = 1
            self._stopping = 1
        else:
            self.resting = 0
        left_ms = pulse_ms - lost_ms if pulse_ms > lost_ms else 0
        self._lost_ms = lost_ms - pulse_ms + left_ms
        crossed_ms = left_ms if left_ms < slack_ms else slack_ms
        self._slack_ms += crossed_ms if opening else -crossed_ms
        moved_ms = left_ms - crossed_ms
        motor = self.motor
        motor.move(moved_ms, crossed_ms)
        moved_u16 = muldiv(DUTY_FULL, moved_ms, motor.travel_ms)
        position = self.position_u16 + (moved_u16 if opening else -moved_u16)
        if position > DUTY_FULL:
            position = DUTY_FULL
        self.position_u16 = position if position > 0 else 0
        return pulse_ms

    def forget(self) -> None:
        """Know nothing but that it can only be further open than shut."""
        self.position_u16 = 0
        self._from_u16 = 0
        self.slip_u16 = 0
        self.known = 0
        self.motor.spoil()

    def found(self, position_u16: int, demand_u16: int) -> int:
        """Take what the meter says of a position that is not known: it is at least so far open.

        What it is open beyond the demand is slip: nothing sent it there. Returns 1 where it is
        further open than it was reckoned, 0 where not.
        """
        if position_u16 <= self.position_u16:
            return 0
        self.position_u16 = position_u16
        self._from_u16 = position_u16
        self.slip_u16 = max(position_u16 - demand_u16, 0)
        return 1

    def credible(self, error_u16: int) -> int:
        """Return what may be put right of an error, 0 or below.

        The whole, where it may stand off its reckoned position by this. Where not, what a quarter
        of that leaves.
        """
        position = self.position_u16
        most = SLIP_U16 + (abs(position - self._from_u16) >> PACE_SHIFT)
        most = min(most, SLIP_MOST_U16, max(position >> 2, SLIP_LEAST_U16))
        slip = self.slip_u16
        return error_u16 if slip + error_u16 >= -most else min(-(most >> 2) - slip, 0)

    def take_back(self) -> None:
        """Believe no more that it is further shut than it was driven."""
        if self.slip_u16 < 0:
            self.position_u16 -= self.slip_u16
            self.slip_u16 = 0
            self.motor.spoil()

    def correct(self, error_u16: int, gain_q20: int, rests: int) -> None:
        """Put the reckoned position right by a part of an error found with the meter.

        rests: the flow has been at rest for a while.
        """
        self.known = 1
        part = muldiv(error_u16, gain_q20, ONE_Q20)
        position = self.position_u16 + part
        if position > DUTY_FULL:
            position = DUTY_FULL
        elif position < 0:
            position = 0
        self.position_u16 = position
        self.slip_u16 += part - (self.slip_u16 >> FORGET_SHIFT)
        self._from_u16 += (position - self._from_u16) >> FORGET_SHIFT
        self.motor.answer(error_u16, part, rests)
