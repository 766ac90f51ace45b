"""Reciprocal estimation: a rate from a count difference over an edge-time difference.

Counting pulses in a fixed gate errs by up to one pulse in the gate: 33 % rms at 3 Hz in half
a second. Here the window runs from edge to edge, so that only the time stamp's resolution
remains.
"""

from rate_control.intmath import LIMIT, muldiv, ticks_diff

PULSES_MAX = 1000000  # in a window; a count that jumps further is noise
SLOTS = 16  # ticks of history; the window cannot be longer


class PulseCounter:
    """Follows one pulse input. Feed it once a tick; then read the fields.

    pulses: new since the tick before. valid: a whole window has been seen since the last
    standstill. window_pulses over window_us is the estimate; silent_us is the time since the
    last edge.
    """

    def __init__(self, average_pulses, timeout_us):
        """average_pulses 1..64: the window grows to hold them. timeout_us: standstill."""
        self.average_pulses = average_pulses
        self.timeout_us = timeout_us
        self.pulses = 0
        self.window_pulses = 0
        self.window_us = 1
        self.silent_us = 0
        self.valid = 0
        self._counts = [0] * SLOTS
        self._edges = [0] * SLOTS
        self._newest = 0
        self._filled = 0  # slots in use since the last standstill
        self._last_count = None

    def update(self, count, edge_us, now_us):
        """Take the board's count and time of the last edge, both wrapping at 2**30."""
        if self._last_count is None:
            self._last_count = count  # whatever was counted before power-up is not ours
        self.pulses = (count - self._last_count) & LIMIT
        self._last_count = count
        if self.pulses:
            self._push(count, edge_us)
        elif not self._filled:
            return
        self.silent_us = ticks_diff(now_us, edge_us)
        if self.silent_us > self.timeout_us:
            self._filled = 0
            self.valid = 0

    def _push(self, count, edge_us):
        slot = (self._newest + 1) % SLOTS
        self._newest = slot
        self._counts[slot] = count
        self._edges[slot] = edge_us
        if self._filled < SLOTS:
            self._filled += 1
        back = 1
        while back < self._filled:
            start = (slot - back) % SLOTS
            span_us = ticks_diff(edge_us, self._edges[start])
            if span_us <= 0 or span_us > self.timeout_us:
                if back == 1:  # a standstill, or a clock that jumped: this edge is the first
                    self._filled = 1
                    self.valid = 0
                return
            pulses = (count - self._counts[start]) & LIMIT
            self.window_pulses = min(pulses, PULSES_MAX)
            self.window_us = span_us
            self.valid = 1
            if self.window_pulses >= self.average_pulses:
                return
            back += 1

    def rate(self, amount, scale=1):
        """Return amount x scale x pulses per microsecond of the window, 0 where not valid.

        amount is what one pulse stands for, 0..LIMIT; scale at most 1000. While edges stay
        away the estimate falls to one pulse in the time waited: had it been faster, the edge
        would be here.
        """
        if not self.valid:
            return 0
        if self.silent_us > self.window_us // self.window_pulses:
            return muldiv(amount, scale, self.silent_us)
        return muldiv(amount, self.window_pulses * scale, self.window_us)
