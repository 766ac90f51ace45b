"""The last few seconds of trace lines, handed from the tick to whoever streams or shows them."""

from rate_control import trace
from rate_control.intmath import LIMIT, ticks_diff


class TraceRing:
    """A ring of trace lines made beforehand: the tick fills one in place, readers follow.

    filling is the line for the present tick, count the number of finished ones, wrapping at
    2**30. A reader keeps a count of its own and asks for the line at that count. The tick may
    interrupt a reader at any point, so the slot being filled and the one after it are never
    handed out.
    """

    LINES = 28  # 1.4 s at 20 ticks a second
    KEPT = LINES - 2

    more: tuple[str, ...] = ()  # what a line has behind trace.FIELDS, by name (see trace_more.py)

    def __init__(self) -> None:
        self.count = 0
        self.lines = [[0] * len(trace.FIELDS) for _ in range(self.LINES)]
        self.filling = self.lines[0]

    def advance(self) -> None:
        """Count the line that was filled, and go on to the next."""
        count = (self.count + 1) & LIMIT
        self.filling = self.lines[count % self.LINES]
        self.count = count

    def behind(self, reader: int) -> int:
        """Return how many finished lines the reader has not had; above KEPT, some are lost."""
        return ticks_diff(self.count, reader)

    def line(self, count: int) -> list[int]:
        """Return the line numbered count, to be read at once and not kept."""
        return self.lines[count % self.LINES]

    def newest(self) -> list[int]:
        """Return the last finished line; it stays untouched for KEPT ticks."""
        return self.lines[(self.count - 1) % self.LINES]
