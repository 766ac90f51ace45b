"""The motorised regulating valve: an integrating actuator with play and a flow characteristic."""

from __future__ import annotations

import math

from host_sim.plant.pump_spec import ValveSpec

SAME_S = 1e-9  # less is rounding


class RegulatingValve:
    """dx/dt = +-1/travel while the motor turns; the ball follows the stem through the play.

    Drive shorter than `start_s` moves nothing; after the drive the motor runs on for
    `overrun_s`. Limit switches stop it where the ball is fully open or closed.
    """

    __slots__ = ("_direction", "_driven_s", "_drive_s", "_overrun_s", "_spec", "_stem", "ball",
                 "pace")

    def __init__(self, spec: ValveSpec) -> None:
        self._spec = spec
        self._stem = spec.start_share
        self.ball = spec.start_share  # 0 closed, 1 open
        self.pace = 1.0  # of the motor over that in the spec; a slow one starts late, too
        self._direction = 0
        self._drive_s = 0.0  # of the present pulse that is left
        self._driven_s = 0.0  # drive without a break so far
        self._overrun_s = 0.0

    @property
    def moving(self) -> bool:
        """Whether a step may change anything."""
        return self._drive_s > 0.0 or self._driven_s > 0.0 or self._overrun_s > 0.0

    def drive(self, pulse_ms: int) -> None:
        """Drive for so long from now, + opens; replaces what was left of an earlier pulse."""
        direction = (pulse_ms > 0) - (pulse_ms < 0)
        if direction and direction != self._direction:
            self._direction = direction
            self._driven_s = self._overrun_s = 0.0
        self._drive_s = abs(pulse_ms) * 1e-3

    def seize(self, position: float) -> None:
        """Stand at a position, 0..1, and forget what was driven."""
        self._stem = self.ball = position
        self._drive_s = self._driven_s = self._overrun_s = 0.0

    def step(self, span_s: float) -> None:
        """Let `span_s` pass."""
        spec = self._spec
        on_s = min(span_s, self._drive_s)
        start_s = spec.start_s / self.pace
        before_s = max(self._driven_s - start_s, 0.0)
        self._driven_s += on_s
        turning_s = max(self._driven_s - start_s, 0.0)
        moved_s = turning_s - before_s
        self._drive_s = self._drive_s - on_s if self._drive_s - on_s > SAME_S else 0.0
        if on_s < span_s - SAME_S:  # else it may go on in the next step
            if self._driven_s > 0.0:  # the drive ended within this step
                self._overrun_s = spec.overrun_s if turning_s > 0.0 else 0.0
                self._driven_s = 0.0
            run_s = min(self._overrun_s, span_s - on_s)
            self._overrun_s -= run_s
            moved_s += run_s
        if moved_s > 0.0:
            self._turn(self._direction * self.pace * moved_s / spec.travel_s)

    def _turn(self, share: float) -> None:
        half = 0.5 * self._spec.play_share
        self._stem = min(max(self._stem + share, -half), 1.0 + half)
        self.ball = min(max(self.ball, self._stem - half), self._stem + half)


def opening(spec: ValveSpec, ball: float) -> float:
    """Flow over full flow at a constant drop, for a position 0..1.

    Equal percentage: (R^x - 1) / (R - 1), which is R^(x-1) for all but a nearly closed valve
    and, other than that, shuts off.
    """
    if spec.characteristic == "linear":
        return ball
    return (math.pow(spec.rangeability, ball) - 1.0) / (spec.rangeability - 1.0)


def position(spec: ValveSpec, share: float) -> float:
    """The position with this share of the full flow: inverse of `opening`."""
    if spec.characteristic == "linear":
        return share
    return math.log(1.0 + share * (spec.rangeability - 1.0)) / math.log(spec.rangeability)
