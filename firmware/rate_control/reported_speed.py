"""Ground speed from the reports of a receiver: a few a second, each a little late.

Between two reports the speed goes on along the line through the last two, for as long as lay
between them; a receiver with one report a second would else make the rate climb stairs.
"""

from rate_control.intmath import clamp, ticks_diff
from rate_control.units import SPEED_MAX_MM_S

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import SpeedReport

SAME_FIX_US = 40000  # the sentences of one fix come right after each other
SLOPE_MAX_MM_S2 = 5000  # half of gravity: no field machine brakes harder
ONWARD_MS_MAX = 1000


class ReportedSpeed:
    """Follows the reports of one receiver (see Inputs.report).

    valid: the last one was trusted, and is not too old. fresh: a new one came in this tick.
    speed_mm_s: what it said.
    """

    def __init__(self, timeout_us: int) -> None:
        """timeout_us: without a report for so long the speed is not known."""
        self.valid = 0
        self.fresh = 0
        self._timeout_us = timeout_us
        self._count = 0
        self._at_us = 0
        self.speed_mm_s = 0
        self._slope_mm_s2 = 0
        self._onward_ms = 0

    def update(self, report: "SpeedReport", now_us: int) -> int:
        """Return the ground speed now, 0..SPEED_MAX_MM_S; 0 while not valid."""
        self.fresh = 0
        if report.count != self._count:
            self._count = report.count
            self._take(report)
        if not self.valid:
            return 0
        age_us = ticks_diff(now_us, self._at_us)
        if age_us > self._timeout_us:
            self.valid = 0
            return 0
        onward_ms = clamp(age_us // 1000, 0, self._onward_ms)
        speed = self.speed_mm_s + self._slope_mm_s2 * onward_ms // 1000
        return clamp(speed, 0, SPEED_MAX_MM_S)

    def _take(self, report: "SpeedReport") -> None:
        """Take a report."""
        speed = report.speed_mm_s
        if not report.trusted or speed > SPEED_MAX_MM_S:
            self.valid = 0
            return
        span_us = ticks_diff(report.at_us, self._at_us)
        if not self.valid or span_us < 0:
            self._onward_ms = 0
            self.fresh = 1
        elif span_us > SAME_FIX_US:
            span_ms = span_us // 1000
            slope = (speed - self.speed_mm_s) * 1000 // span_ms
            self._slope_mm_s2 = clamp(slope, -SLOPE_MAX_MM_S2, SLOPE_MAX_MM_S2)
            self._onward_ms = min(span_ms, ONWARD_MS_MAX)
            self.fresh = 1
        self.valid = 1
        self.speed_mm_s = speed
        self._at_us = report.at_us
