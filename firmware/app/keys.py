"""The encoder and the two keys, made into events."""

from rate_control.intmath import LIMIT, ticks_diff

QUARTERS = 4  # quarter steps of the encoder from one notch to the next
STEADY = 2  # readings in a row that must agree before a key counts as moved


class RawKeys:
    """What a board reads: quarter steps (wrapping at 2**30, + clockwise) and key levels."""

    def __init__(self) -> None:
        self.quarters = 0
        self.push = 0
        self.back = 0


class Keys:
    """Debounces; after update(), turned, pushed and back hold what happened since the last.

    turned is a number of notches, + clockwise; pushed and back are 1 once a press.
    """

    def __init__(self) -> None:
        self.turned = 0
        self.pushed = 0
        self.back = 0
        # quarter steps at the last notch; not yet seen: wherever it stands
        self._notch: int | None = None
        self._push = Key()
        self._back = Key()

    def update(self, raw: "RawKeys") -> int:
        """Take a reading, about every 10 ms; return whether anything happened."""
        if self._notch is None:
            self._notch = raw.quarters
        moved = ticks_diff(raw.quarters, self._notch)
        # towards zero: an encoder that trembles around a notch does not turn
        self.turned = moved // QUARTERS if moved > 0 else -(-moved // QUARTERS)
        self._notch = (self._notch + self.turned * QUARTERS) & LIMIT
        self.pushed = self._push.pressed(raw.push)
        self.back = self._back.pressed(raw.back)
        return self.turned != 0 or self.pushed or self.back


class Key:
    """One key; a key that is held when first seen counts as pressed only after a release."""

    def __init__(self) -> None:
        self._level = 1
        self._steady = 0

    def pressed(self, level: int) -> int:
        """Take a level; return 1 once a press."""
        if level == self._level:
            self._steady = 0
            return 0
        self._steady += 1
        if self._steady < STEADY:
            return 0
        self._level = level
        self._steady = 0
        return level
