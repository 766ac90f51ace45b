"""What a wheel that runs out of centre adds to the speed: learned by its place, and taken out.

Such a wheel reads too much through one half of its turn and too little through the other, the same
in every turn. Rough ground swings as fast, but comes to another place of the turn each time. So
the swing that goes with the turn is learned by least mean squares, slowly, and nothing else is
touched (an adaptive notch: B. Widrow and others, Adaptive noise cancelling, Proceedings of the IEEE
63 (1975) 1692-1716). A board loads this only where the setting speed_turn_pulses asks for it.
"""

from rate_control.intmath import clamp

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pulse_counter import PulseCounter
    from rate_control.settings import Settings

STEPS = 32  # of a turn
QUARTER_Q12 = (0, 799, 1567, 2276, 2896, 3406, 3784, 4017, 4096)  # sine of each step
MOST_Q12 = 409  # a tenth: what goes beyond is a change of speed
MOST_Q20 = MOST_Q12 << 8
SLOW_SHIFT = 3  # 8 ticks: the mean speed follows the drive and not the turn
LEARN_SHIFT = 8  # a swing is learned in 2 x 256 ticks


class WheelTurn:
    """Follows the place in the turn and refines the speed that the pulses show."""

    def __init__(self, settings: "Settings", counter: "PulseCounter") -> None:
        self._turn_pulses = settings.speed_turn_pulses
        self._counter = counter
        self._place = 0  # in the turn, in pulses, from wherever it was switched on
        self._sine_share_q20 = 0
        self._cosine_share_q20 = 0
        self._mean_q4 = 0
        self._sine_q12 = [0] * (STEPS + STEPS // 4)  # and on: a cosine is a quarter further
        for step in range(len(self._sine_q12)):
            half = step % (STEPS // 2)
            value = QUARTER_Q12[min(half, STEPS // 2 - half)]
            self._sine_q12[step] = -value if step % STEPS >= STEPS // 2 else value

    def refine(self, speed_mm_s: int, now_us: int) -> int:
        """Return a speed without the swing of the turn; call it once in every tick."""
        counter = self._counter
        turn = self._turn_pulses
        place = (self._place + counter.pulses % turn) % turn
        self._place = place
        window = counter.window_pulses
        if not speed_mm_s or 3 * window > turn:  # over a third of a turn little is left of it
            self._mean_q4 = speed_mm_s << 4
            return speed_mm_s
        step = (2 * place - window) * STEPS // (2 * turn) % STEPS
        sine = self._sine_q12[step]
        cosine = self._sine_q12[step + STEPS // 4]
        off_q20 = self._sine_share_q20 * sine + self._cosine_share_q20 * cosine >> 12
        speed = speed_mm_s - (speed_mm_s * (off_q20 >> 6) >> 14)
        self._mean_q4 += ((speed << 4) - self._mean_q4) >> SLOW_SHIFT
        if counter.pulses and speed > 0:
            swing_q12 = clamp((speed - (self._mean_q4 >> 4)) * 4096 // speed, -MOST_Q12, MOST_Q12)
            self._sine_share_q20 = learned(self._sine_share_q20, swing_q12 * sine)
            self._cosine_share_q20 = learned(self._cosine_share_q20, swing_q12 * cosine)
        return speed


def learned(share_q20: int, seen_q24: int) -> int:
    """Return a share after what was seen of it in a tick."""
    return clamp(share_q20 + (seen_q24 >> 4 + LEARN_SHIFT), -MOST_Q20, MOST_Q20)
