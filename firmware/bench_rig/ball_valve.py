"""The rig's regulating valve: an integrating actuator with play, as host_sim/plant has it."""


class BallValve:
    """The ball follows the stem through the play; drive shorter than start_s moves nothing.

    `ball` is 0 closed to 1 open.
    """

    def __init__(self, valve):
        self.ball = self._stem = valve["start_share"]
        self._valve = valve
        self._direction = 0
        self._on = 0.0  # drive of the next step, seconds
        self._goes_on = 0  # whether it lasts beyond that step
        self._driven = 0.0  # drive without a break so far
        self._overrun = 0.0

    def turn(self, direction, on, goes_on):
        """Take the drive of the next step: +1 opens, for so many seconds of it."""
        if direction and direction != self._direction:
            self._direction = direction
            self._driven = self._overrun = 0.0
        self._on = on
        self._goes_on = goes_on

    def step(self, span):
        """Let a span pass; return whether the ball may have moved."""
        on = self._on
        if not on and not self._driven and not self._overrun:
            return False
        valve = self._valve
        before = max(self._driven - valve["start_s"], 0.0)
        self._driven += on
        turning = max(self._driven - valve["start_s"], 0.0)
        moved = turning - before
        if on < span and not self._goes_on:
            if self._driven > 0.0:  # the drive ended within this step
                self._overrun = valve["overrun_s"] if turning > 0.0 else 0.0
                self._driven = 0.0
            run = min(self._overrun, span - on)
            self._overrun -= run
            moved += run
        if moved > 0.0:
            self._move(self._direction * moved / valve["travel_s"])
        return moved > 0.0

    def _move(self, share):
        half = 0.5 * self._valve["play_share"]
        self._stem = min(max(self._stem + share, -half), 1.0 + half)
        self.ball = min(max(self.ball, self._stem - half), self._stem + half)

    def share(self):
        """Return the flow over full flow at a constant drop."""
        ratio = self._valve["rangeability"]  # 0: linear
        return (ratio ** self.ball - 1.0) / (ratio - 1.0) if ratio else self.ball
