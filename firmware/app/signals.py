"""Lamp and buzzer: one table of patterns."""

from rate_control.faults import BLOCKING
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, PRIMING, READY

STEP_MS = 125
STEPS = 16  # a pattern takes two seconds

# what it is for, lamp, buzzer: a bit a step, from the highest on
PATTERNS = (
    ("fault", 0b1010101010101010, 0b1010100000000000),
    ("warning", 0b1111000011110000, 0b1000000000000000),
    ("bench", 0b1010000010100000, 0),
    ("applying", 0b1111111111111111, 0),
    ("ready", 0b1000000000000000, 0),
    ("parked", 0, 0),
)
_FAULT, _WARNING = 0, 1
_OF_STATE = {BENCH: 2, APPLYING: 3, PRIMING: 3, READY: 4, PARKED: 5, FAULT: _FAULT}


def pattern(state: int, active_faults: int, failure: int) -> tuple[str, int, int]:
    """Return the row of PATTERNS for a state, its active faults and whether anything failed."""
    if state == FAULT or active_faults & BLOCKING:
        return PATTERNS[_FAULT]
    if active_faults or failure:
        return PATTERNS[_WARNING]
    return PATTERNS[_OF_STATE[state]]


class Signals:
    """Plays the patterns."""

    def __init__(self) -> None:
        self._step = 0

    def next(self, row: tuple[str, int, int], loud: int) -> tuple[int, int]:
        """Return (lamp, buzzer) for the next step; the buzzer is silent unless it is loud."""
        bit = STEPS - 1 - self._step
        self._step = (self._step + 1) % STEPS
        return row[1] >> bit & 1, row[2] >> bit & 1 if loud else 0
