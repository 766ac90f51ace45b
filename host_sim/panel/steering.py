"""Who holds the wheel in the panel: the scenario's turns where it has some, else pass beside pass.

Nobody steers at the page. So a driver is played who does what one does in a field: while the
implement is down he goes straight on; once it has been lifted he goes on for a little, turns, and
comes back beside the pass that he left. Where it comes down again before the turn, the pass goes
on. In a turn he does not look at the implement: what comes down there lies in an arc.
"""

from __future__ import annotations

import math
from collections import deque

from host_sim.plant.way import Way
from host_sim.twin.hands import Event

LEAST_PASS_M = 3.0  # a shorter one was a trial of the lift
RUN_OUT_M = 3.0  # from the lift to the turn
LEAST_RADIUS_M = 1.5  # of a small vehicle with a bar behind it; common practice, no source

Arc = tuple[float, float]  # degrees, + to the right, and the radius in metres


class Steering:
    """Turns a way. `spacing_m` is from the middle of a pass to the middle of the next."""

    def __init__(self, way: Way, width_m: float, events: list[Event]) -> None:
        self.spacing_m = width_m
        self._way = way
        self._planned = deque(sorted(
            (event.at_m, event.turn_deg, event.radius_m) for event in events
            if event.turn_deg and event.at_m is not None))
        self._side = 1  # of the next turn: + to the right
        self._lowered_m = math.inf  # where the pass began
        self._lifted_m = math.inf  # where it ended
        self._was_down = False

    def act(self, distance_m: float, down: bool) -> None:
        """Do what is due at this distance, with the implement down or up."""
        while self._planned and self._planned[0][0] <= distance_m:
            _, turn_deg, radius_m = self._planned.popleft()
            self._way.turn(turn_deg, radius_m)
        if not self._planned:
            self._pass_by_pass(distance_m, down)
        self._was_down = down

    def _pass_by_pass(self, distance_m: float, down: bool) -> None:
        if down:
            if not self._was_down and self._lifted_m == math.inf:
                self._lowered_m = distance_m
            self._lifted_m = math.inf
        elif self._was_down and distance_m - self._lowered_m >= LEAST_PASS_M:
            self._lifted_m = distance_m
        elif distance_m - self._lifted_m >= RUN_OUT_M:
            self._lifted_m = math.inf
            self._way.follow(turn_round(self.spacing_m, self._side))
            self._side = -self._side


def turn_round(spacing_m: float, side: int) -> list[Arc]:
    """The arcs that lead back beside the way, so far to the right (side 1) or the left (-1).

    Where half the spacing is too tight to turn in, the way swings out to the other side first:
    with a radius r and an angle a out, the middles of the arcs are 2 r apart, so that
    spacing = 2 (2 r cos a - r).
    """
    if spacing_m >= 2 * LEAST_RADIUS_M:
        return [(side * 180.0, spacing_m / 2)]
    radius_m = LEAST_RADIUS_M
    out_deg = math.degrees(math.acos((spacing_m / 2 + radius_m) / (2 * radius_m)))
    out = (-side * out_deg, radius_m)
    return [out, (side * (180.0 + 2 * out_deg), radius_m), out]
