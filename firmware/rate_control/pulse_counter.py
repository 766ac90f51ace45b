"""Reciprocal estimation: a rate from a count difference over an edge-time difference.

Counting pulses in a fixed gate errs by up to one pulse in the gate: 33 % rms at 3 Hz in half
a second. Here the window runs from edge to edge, so that only the time stamp's resolution
remains.
"""

from rate_control.intmath import HALF, LIMIT, muldiv

PULSES_MAX = 1000000  # in a window; a count that jumps further is noise
SLOTS = 16  # ticks of history; the window cannot be longer


class PulseCounter:
    """Follows one pulse input. Feed it once a tick; it returns the rate.

    pulses: new since the tick before. following: an edge has been seen since the last standstill.
    valid: two have.
    window_pulses came in window_us.
    """

    def __init__(self, average_pulses: int, timeout_us: int, amount: int, scale: int = 1) -> None:
        """average_pulses 1..64: the window grows to hold them. timeout_us: standstill.

        amount is what one pulse stands for, 0..LIMIT; scale at most 1000.
        """
        self._average_pulses = average_pulses
        self._timeout_us = timeout_us
        self._amount = amount
        self._scale = scale
        # up to these a product needs no long way round
        self._plain_pulses = LIMIT // max(amount, 1)
        self._plain_us = LIMIT // scale
        self.pulses = 0
        self.valid = 0
        self.window_pulses = 0
        self.window_us = 0
        self._counts = [0] * SLOTS
        self._edges = [0] * SLOTS
        self._newest = 0
        self.following = 0
        self._known = 0  # the board's count, at all

    def update(self, count: int, edge_us: int, now_us: int) -> int:
        """Take the board's count and time of the last edge, both wrapping at 2**30.

        Return amount x scale x pulses per microsecond of the window, 0 where not valid; without a
        new edge, of at most one pulse in the time waited: at a higher rate the edge would be here.
        """
        if not self.following:
            return self._begin(count, edge_us)
        counts = self._counts
        slot = self._newest
        pulses = (count - counts[slot]) & LIMIT
        self.pulses = pulses
        if pulses:
            window_us = (edge_us - self._edges[slot]) & LIMIT
            if not 0 < window_us <= self._timeout_us:  # a standstill, or a clock that jumped
                return self._begin(count, edge_us)
            if pulses < self._average_pulses:
                self._open_window(count, edge_us, pulses, window_us)
            else:
                self.window_pulses = pulses if pulses < PULSES_MAX else PULSES_MAX
                self.window_us = window_us
            self.valid = 1
            self._newest = slot = (slot + 1) % SLOTS
            counts[slot] = count
            self._edges[slot] = edge_us
        else:
            silent_us = ((now_us - edge_us) & LIMIT ^ HALF) - HALF  # ticks_diff(), at hand
            if silent_us > self._timeout_us:
                self.following = self.valid = 0
            if not self.valid:
                return 0
            if silent_us > self.window_us // self.window_pulses:
                return muldiv(self._amount, self._scale, silent_us)
        pulses = self.window_pulses
        window_us = self.window_us
        scale = self._scale
        if pulses <= self._plain_pulses and scale <= window_us <= self._plain_us:
            whole = self._amount * pulses
            return whole // window_us * scale + whole % window_us * scale // window_us
        return muldiv(self._amount, pulses * scale, window_us)

    def latest(self) -> int:
        """Return the rate as update() does, of the last pulses alone, whatever was waited since."""
        slot = self._newest
        pulses = (self._counts[slot] - self._counts[slot - 1]) & LIMIT
        window_us = (self._edges[slot] - self._edges[slot - 1]) & LIMIT
        return muldiv(self._amount, min(pulses, PULSES_MAX) * self._scale, window_us)

    def _begin(self, count: int, edge_us: int) -> int:
        """Wait for the first edge after a standstill: it says nothing yet. Return 0."""
        newest = self._newest
        if not self._known:  # whatever was counted before power-up is not ours
            self._known = 1
            self._counts[newest] = count
        pulses = (count - self._counts[newest]) & LIMIT
        self.pulses = pulses
        self.valid = 0
        if pulses:
            self.following = 1
            self._counts[newest] = count
            for slot in range(SLOTS):  # edges of before are out of every window's reach
                self._edges[slot] = edge_us ^ HALF
            self._edges[newest] = edge_us
        return 0

    def _open_window(self, count: int, edge_us: int, pulses: int, window_us: int) -> None:
        """Go back from the edge before until the window holds enough pulses."""
        slot = self._newest
        for _ in range(SLOTS - 1):
            slot -= 1  # below 0 a list counts from its end, as a ring does
            us = (edge_us - self._edges[slot]) & LIMIT
            if us > self._timeout_us:
                break
            window_us = us
            pulses = (count - self._counts[slot]) & LIMIT
            if pulses >= self._average_pulses:
                break
        self.window_pulses = min(pulses, PULSES_MAX)
        self.window_us = window_us
