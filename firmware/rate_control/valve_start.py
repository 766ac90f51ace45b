"""How long a start of a regulating valve's motor takes before it moves anything.

It was measured when the machine was tuned. A motor that is cold, worn or short of supply starts
later; then a short pulse moves nothing, and however often it is repeated, the flow stays where it
is. So while pulses are not answered, each look at the meter makes them longer; where the flow is
found on the other side of the target they were too long. Nothing of it outlives the power.
"""

from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

LOOK_MS = 500  # in which the starts of a look count; the rest of it waits for their answer
LONGER_MS = 6
SHORTER_MS = 3
MORE_MS_MOST = 100  # than was measured; what needs more is broken
NEAR_SHIFT = 5  # within 1/32 of the target nothing is wrong


class ValveStart:
    """ms is how long a start takes."""

    def __init__(self, settings: "Settings") -> None:
        self.ms = settings.valve_lost_ms
        self._least_ms = settings.valve_lost_ms // 2
        self._most_ms = settings.valve_lost_ms + MORE_MS_MOST
        answer_ms = 2 * (settings.loop_delay_ms + settings.loop_lag_ms)
        self._counting_ticks = LOOK_MS // TICK_MS
        self._look_ticks = (answer_ms + LOOK_MS) // TICK_MS
        self._waited = 0  # ticks of this look
        self._starts = 0  # in its direction
        self._direction = 0  # of the flow that is missing, more or less

    def started(self, direction: int) -> None:
        """The motor starts towards more flow, 1, or less, -1."""
        if direction == self._direction and self._waited < self._counting_ticks:
            self._starts += 1

    def look(self, flow_ul_s: int, target_ul_s: int, steady: int) -> None:
        """Take a tick; steady: the flow has been at rest for a while."""
        short = target_ul_s - flow_ul_s
        near = target_ul_s >> NEAR_SHIFT
        direction = 1 if short > near else -1 if short < -near else 0
        if direction and direction == -self._direction and self._starts:
            self.ms = max(self.ms - SHORTER_MS, self._least_ms)
        if not steady or direction != self._direction:
            self._direction = direction
            self._waited = 0
            self._starts = 0
        elif self._waited < self._look_ticks:
            self._waited += 1
        else:
            if direction and self._starts:
                self.ms = min(self.ms + LONGER_MS, self._most_ms)
            self._waited = 0
            self._starts = 0
