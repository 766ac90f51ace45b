"""How long a regulating valve's motor takes to start before it moves anything.

It was measured when the machine was tuned. A motor that is cold, worn or short of supply starts
later; then a short pulse moves little or nothing. A short move that fell short, or went too far,
tells how much, if the flow was at rest before and after it: so the next pulse is longer or shorter.
Nothing of that outlives the power.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.units import DUTY_FULL

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

THERE_MS = 2  # motor time left that is not worth another tick
MOST_MS = 500  # as the setting; what needs more is broken
FINE = 4  # bits: the time is kept in 1/16 ms
SHORT_STEPS = 4  # a move of up to so many of the smallest tells of the start, a longer one of pace


class ValveStart:
    """ms is how long a start takes; near_ms is half of what the shortest pulse moves."""

    def __init__(self, settings: "Settings") -> None:
        self._travel_q4_ms = settings.valve_travel_ms << FINE
        self._min_pulse_ms = settings.valve_min_pulse_ms
        self._rested = 0  # the flow was at rest when the meter was asked last
        self._rest_u16 = 0  # of the error of the position, not yet put right
        self._tells = 0  # the last move was short, from a flow at rest, and through no play
        self._move_q4_ms = 0  # motor time that it took
        self._went_u16 = 0  # how much further it went, as the meter says by now
        self._taken_q4_ms = 0  # what has been learned of that
        self._take(settings.valve_lost_ms << FINE)

    def _take(self, start_q4_ms: int) -> None:
        self._q4_ms = start_q4_ms
        self.ms = start_q4_ms >> FINE
        step_ms = max(self._min_pulse_ms - self.ms, self._min_pulse_ms // 4)
        self.near_ms = max((step_ms + 1) // 2, THERE_MS)
        self._short_q4_ms = step_ms * SHORT_STEPS << FINE

    def begin(self) -> None:
        """Begin to follow a move."""
        self._tells = self._rested
        self._rested = 0
        self._move_q4_ms = 0
        self._went_u16 = 0
        self._taken_q4_ms = 0

    def move(self, moved_ms: int, crossed_ms: int) -> None:
        """Take what a tick is reckoned to have moved, after it crossed so much play."""
        self._move_q4_ms += moved_ms << FINE
        if crossed_ms or self._move_q4_ms > self._short_q4_ms:
            self._tells = 0

    def answer(self, error_u16: int, part_u16: int, direction: int, rests: int) -> None:
        """Take an error of the reckoned position, of which a part is put right in this tick.

        rests: the flow has been at rest for a while.
        """
        if self._tells:
            self._went_u16 += (error_u16 - self._rest_u16) * direction
            if rests:
                self._learn()
        self._rest_u16 = error_u16 - part_u16
        self._rested = rests

    def _learn(self) -> None:
        """Take half of what a short move went too far or, below 0, not far enough.

        None can fall short, or go too far, by more than its own length. What is well beyond that
        is not its doing, and tells nothing.
        """
        most = self._move_q4_ms
        went_q4_ms = muldiv(self._went_u16, self._travel_q4_ms, DUTY_FULL)
        if abs(went_q4_ms) > most + (most >> 2):
            return
        new_q4_ms = (clamp(went_q4_ms, -most, most) - self._taken_q4_ms) >> 1
        if new_q4_ms:
            self._taken_q4_ms += new_q4_ms << 1
            self._take(clamp(self._q4_ms - new_q4_ms, 0, MOST_MS << FINE))
