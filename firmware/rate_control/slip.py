"""One speed from two: as quick as the wheel, as true as the receiver.

A wheel shows every change at once, and its slip as speed. A receiver's speed is true in the mean,
but comes a few times a second, late, and with the sway of its antenna. So the wheel goes for what
changes and the receiver for what stays: a complementary filter on the ratio of the two (W. T.
Higgins, A comparison of complementary and Kalman filtering, IEEE Trans. Aerospace and Electronic
Systems 11 (1975) 321-325). What the wheel gains or loses faster than a machine does is slip at
once: on even ground that is little, on rough ground it is more, so the bound follows what is usual
(as the threshold of a radar follows its clutter: H. M. Finn, R. S. Johnson, Adaptive detection mode
with threshold control, RCA Review 29 (1968) 414-464). A receiver that jumps moves the ratio little
by little, or not at all, and what may be its noise moves it slowly.
A board loads this only where the setting speed_source asks for both.
"""

from rate_control.believable import RISE_MM_S
from rate_control.intmath import clamp
from rate_control.units import SPEED_MAX_MM_S, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.reported_speed import ReportedSpeed

ONE_Q14 = 16384
LEAST_Q14, MOST_Q14 = ONE_Q14 * 3 // 4, ONE_Q14 * 5 // 4  # what slip and a wrong calibration make
QUICK_MM_S = 2000 * TICK_MS // 1000  # in a tick; even ground gains or loses seldom more
USUAL_TIMES = 3  # the usual change; rough ground seldom makes more
USUAL_SHIFT = 5  # it is the mean of some 32 ticks
LATE_TICKS = 4  # a receiver tells of the speed 0.15 to 0.25 s ago: of the 4th or the 3rd tick back
SLOW_MM_S = 500  # below it a receiver's noise is too much of the speed
STRANGE_Q14 = ONE_Q14 // 4  # a receiver so far off is not believed; speed_differs tells
STEP_Q14 = ONE_Q14 // 20  # taken from one report at most
NOISE_Q14 = ONE_Q14 // 50  # what a receiver's noise and delay make
NOISE_SHIFT = 3  # only an eighth of it is taken as a difference: steady slip is found all the same
TRUST_TICKS = 8  # a difference that lasts is taken over in so many ticks
MOST_TICKS = 5  # that a report stands for, however long ago the last one was
STEADY_SHIFT = 7  # the steady slip is learned from some 128 reports


class Slip:
    """Follows the ratio of the receiver's speed to the wheel's, and what of it stays."""

    def __init__(self, reported: "ReportedSpeed") -> None:
        self._reported = reported
        self._ratio_q14 = ONE_Q14
        self._steady_q20 = ONE_Q14 << 6
        self._past_mm_s = [0] * LATE_TICKS
        self._slot = 0
        self._before_mm_s = 0
        self._usual_q8 = 0  # mm/s in a tick, either way
        self._ticks = 0  # since the last report that was fresh

    def refine(self, speed_mm_s: int, now_us: int) -> int:
        """Return the ground speed for what the wheel shows; call it once in every tick."""
        reported = self._reported
        past = self._past_mm_s
        slot = self._slot
        self._ticks += 1
        if not speed_mm_s:
            self._ratio_q14 = self._steady_q20 >> 6
        elif not reported.valid:  # the steady slip comes back, in some seconds
            self._ratio_q14 += ((self._steady_q20 >> 6) - self._ratio_q14) * TICK_MS // 1000
        elif reported.fresh:
            self._compare(reported.speed_mm_s, past[slot], past[slot - LATE_TICKS + 1])
        speed = speed_mm_s * self._ratio_q14 >> 14
        before = self._before_mm_s
        if before and speed_mm_s:
            gain = speed - before
            usual_q8 = self._usual_q8
            most = clamp(USUAL_TIMES * usual_q8 >> 8, QUICK_MM_S, RISE_MM_S)
            if not -most <= gain <= most:
                gain = clamp(gain, -most, most)
                if reported.valid:
                    ratio_q14 = (before + gain << 14) // speed_mm_s
                    self._ratio_q14 = clamp(ratio_q14, LEAST_Q14, MOST_Q14)
                    speed = speed_mm_s * self._ratio_q14 >> 14
            self._usual_q8 += ((abs(gain) << 8) - usual_q8) >> USUAL_SHIFT
        speed = min(speed, SPEED_MAX_MM_S)
        past[slot] = speed
        self._slot = slot + 1 if slot < LATE_TICKS - 1 else 0
        self._before_mm_s = speed
        return speed

    def _compare(self, reported_mm_s: int, one_mm_s: int, other_mm_s: int) -> None:
        """Take a report of a speed that was reckoned to be one of two, or between them."""
        ticks = min(self._ticks, MOST_TICKS)
        self._ticks = 0
        then_mm_s = clamp(reported_mm_s, min(one_mm_s, other_mm_s), max(one_mm_s, other_mm_s))
        if then_mm_s < SLOW_MM_S:
            return
        off_q14 = ((reported_mm_s - then_mm_s) << 14) // then_mm_s
        if not -STRANGE_Q14 <= off_q14 <= STRANGE_Q14:
            return
        noise_q14 = clamp(off_q14, -NOISE_Q14, NOISE_Q14)
        off_q14 += (noise_q14 >> NOISE_SHIFT) - noise_q14
        step_q14 = clamp(off_q14, -STEP_Q14, STEP_Q14) * ticks // TRUST_TICKS
        self._ratio_q14 = clamp(self._ratio_q14 + step_q14, LEAST_Q14, MOST_Q14)
        self._steady_q20 += ((self._ratio_q14 << 6) - self._steady_q20) >> STEADY_SHIFT
