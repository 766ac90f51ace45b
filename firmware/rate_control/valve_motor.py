"""What a regulating valve's motor does: how long it takes to start, and to go the whole way.

Both were measured when the machine was tuned. A motor that is cold, worn or short of supply starts
later and goes slower; then a short pulse moves little or nothing, and a long one falls short. A
move that did, or went too far, tells how much, if the flow was at rest before it and again once
the meter could answer. So the next pulse is longer or shorter. Nothing of that outlives the power.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.meter_trust import STEADY_TICKS
from rate_control.units import DUTY_FULL, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

THERE_MS = 2  # motor time left that is not worth another tick
MOST_MS = 500  # as the setting; what needs more is broken
FINE = 4  # bits: times are kept in 1/16 ms
LAGS = 2  # of the machine until the meter has answered a move
SHORT_STEPS = 4  # a move of up to so many of the smallest tells of the start
LONG_SHIFT = 4  # moves that lead by this part of the travel, 2**-4, or more tell of the pace
PACE_SHIFT = 2  # a quarter of what they tell is taken, for the curve is not quite right either;
NEAR_SHIFT = 4  # half where they are off by more than this part, 2**-4


class ValveMotor:
    """start_ms is how long a start takes, travel_ms the whole way.

    near_ms is half of what the shortest pulse moves.
    """

    def __init__(self, settings: "Settings") -> None:
        self.travel_ms = settings.valve_travel_ms
        self._travel_q4_ms = self.travel_ms << FINE
        self._measured_q4_ms = self._travel_q4_ms
        self._min_pulse_ms = settings.valve_min_pulse_ms
        answer_ms = settings.loop_delay_ms + LAGS * settings.loop_lag_ms
        self.answer_ticks = STEADY_TICKS + answer_ms // TICK_MS
        self._rest_ticks = 0  # of a flow at rest since a move that tells nothing
        self._rest_u16 = 0  # of the error of the position, not yet put right
        self._tells = 0  # moves run that began from a flow at rest, and their answer is waited for
        self._direction = 0  # of the last of these moves,
        self._starts = 1  # how many they are,
        self._ticks = 0  # for how long they have been answered,
        self._short = 1  # whether all are short, one way and through no play,
        self._move_q4_ms = 0  # the motor time of the last one,
        self._path_q4_ms = 0  # of them all and
        self._net_q4_ms = 0  # of those that open less those that close,
        self._went_u16 = 0  # and how much more they opened, as the meter says by now
        self._take(settings.valve_lost_ms << FINE)

    def _take(self, start_q4_ms: int) -> None:
        self._q4_ms = start_q4_ms
        self.start_ms = start_q4_ms >> FINE
        step_ms = max(self._min_pulse_ms - self.start_ms, self._min_pulse_ms // 4)
        self.near_ms = max((step_ms + 1) // 2, THERE_MS)
        self._short_q4_ms = step_ms * SHORT_STEPS << FINE

    def spoil(self) -> None:
        """What the meter will say next has another reason than the moves that were followed."""
        self._tells = 0
        self._rest_ticks = 0

    def begin(self, direction: int) -> None:
        """Begin to follow a move; one more before the answer goes with those before it."""
        self._move_q4_ms = 0
        turns = direction != self._direction
        self._direction = direction
        if self._tells:
            self._starts += 1
            if turns:
                self._short = 0
            return
        self._tells = self._rest_ticks >= self.answer_ticks
        if turns:
            self._rest_ticks = 0
        self._starts = 1
        self._ticks = 0
        self._short = 1
        self._path_q4_ms = 0
        self._net_q4_ms = 0
        self._went_u16 = 0

    def move(self, moved_ms: int, crossed_ms: int) -> None:
        """Take what a tick is reckoned to have moved, after it crossed so much play."""
        moved_q4_ms = moved_ms << FINE
        move_q4_ms = self._move_q4_ms = self._move_q4_ms + moved_q4_ms
        if crossed_ms or move_q4_ms > self._short_q4_ms:
            self._short = 0
            self._ticks = 0
            self._rest_ticks = 0
        if self._tells:
            self._path_q4_ms += moved_q4_ms
            self._net_q4_ms += moved_q4_ms * self._direction
            if self._path_q4_ms > self._travel_q4_ms << 1:
                self._tells = 0

    def answer(self, error_u16: int, part_u16: int, rests: int) -> None:
        """Take an error of the reckoned position, of which a part is put right in this tick.

        rests: the flow has been at rest for a while.
        """
        self._rest_ticks = self._rest_ticks + 1 if rests else 0
        if self._tells:
            self._ticks += 1
            self._went_u16 += error_u16 - self._rest_u16
            if rests and self._ticks >= self.answer_ticks:
                self._tells = 0
                went_q4_ms = muldiv(self._went_u16, self._travel_q4_ms, DUTY_FULL)
                if self._short:
                    self._learn_start(went_q4_ms * self._direction // self._starts)
                else:
                    self._learn_pace(went_q4_ms)
        self._rest_u16 = error_u16 - part_u16

    def _learn_start(self, went_q4_ms: int) -> None:
        """Take half of what a short move went too far or, below 0, not far enough.

        None can fall short by more than its own length, nor go too far by more than the start that
        was added to it. What is well beyond that is not its doing, and tells nothing.
        """
        short = self._path_q4_ms // self._starts
        far = self._q4_ms
        if -short - (short >> 2) <= went_q4_ms <= far + (far >> 2):
            went_q4_ms = clamp(went_q4_ms, -short, far)
            self._take(clamp(self._q4_ms - (went_q4_ms >> 1), 0, MOST_MS << FINE))

    def _learn_pace(self, went_q4_ms: int) -> None:
        """Take a part of what long moves went too far or not far enough.

        Where an eighth of the way was there and back, or half of it is off, it is not the pace.
        """
        net = self._net_q4_ms
        if net < 0:
            net = -net
            went_q4_ms = -went_q4_ms
        off = abs(went_q4_ms)
        measured = self._measured_q4_ms
        path = self._path_q4_ms
        if net >= measured >> LONG_SHIFT and net >= path - (path >> 3) and off <= net >> 1:
            shift = PACE_SHIFT if off <= net >> NEAR_SHIFT else 1
            travel = self._travel_q4_ms
            travel -= muldiv(went_q4_ms, travel, net) >> shift
            self._travel_q4_ms = travel = clamp(travel, measured >> 1, measured << 1)
            self.travel_ms = travel >> FINE
