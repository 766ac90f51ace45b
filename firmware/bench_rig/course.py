"""How the rig's machine is driven: a speed trace and the hand switches, by time."""


class RigCourse:
    """`speed` has pairs of (seconds, m/s), joined by straight lines; `switches` pairs of (seconds,
    mask): which contacts are closed from then on, bits as in rate_control.units.
    """

    def __init__(self, speed, switches):
        self.end_s = speed[-1][0]
        self._speed = speed
        self._switches = switches
        self._at = 0  # the knot before now
        self._next = 0
        self._closed = 0

    def speed_m_s(self, time_s):
        """Return the ground speed; times must not go back."""
        knots = self._speed
        while self._at + 1 < len(knots) and knots[self._at + 1][0] <= time_s:
            self._at += 1
        start_s, start = knots[self._at]
        if self._at + 1 == len(knots) or time_s < start_s:
            return start
        end_s, end = knots[self._at + 1]
        return start + (end - start) * (time_s - start_s) / (end_s - start_s)

    def closed(self, time_s):
        """Return the mask of closed contacts; times must not go back."""
        while self._next < len(self._switches) and self._switches[self._next][0] <= time_s:
            self._closed = self._switches[self._next][1]
            self._next += 1
        return self._closed
