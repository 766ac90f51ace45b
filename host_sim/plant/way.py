"""Where the machine really is: the way of the middle of its outlets over a flat field.

It goes straight ahead until it is told to turn, and then along an arc. Slip and what else the
speed sensor makes of the way do not come in here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

ARC_M = 0.05  # an arc is gone in steps of this length at most


class Way:
    """East and north of where the drive began, and the heading, clockwise from north."""

    __slots__ = ("_left_rad", "_radius_m", "_then", "east_m", "heading_rad", "north_m")

    def __init__(self, heading_deg: float = 0.0) -> None:
        self.east_m = self.north_m = 0.0
        self.heading_rad = math.radians(heading_deg)
        self._left_rad = 0.0  # of a turn, + to the right
        self._radius_m = 1.0
        self._then: Sequence[tuple[float, float]] = ()  # arcs after this one

    @property
    def heading_deg(self) -> float:
        """From 0 up to 360."""
        return math.degrees(self.heading_rad) % 360.0

    def turn(self, angle_deg: float, radius_m: float) -> None:
        """From here on turn by so much, + to the right; what was left of a turn is given up."""
        self.follow([(angle_deg, radius_m)])

    def follow(self, arcs: Sequence[tuple[float, float]]) -> None:
        """From here on turn along these arcs, one after the other: angle and radius of each."""
        (angle_deg, self._radius_m), *self._then = arcs
        self._left_rad = math.radians(angle_deg)

    def travel(self, distance_m: float) -> None:
        """Go on so far."""
        while self._left_rad and distance_m > 0.0:
            step_m = min(distance_m, ARC_M, abs(self._left_rad) * self._radius_m)
            angle = math.copysign(step_m / self._radius_m, self._left_rad)
            self.heading_rad += angle / 2
            self._straight(step_m)
            self.heading_rad += angle / 2
            self._left_rad -= angle
            if abs(self._left_rad) < 1e-9:
                self._left_rad = 0.0
                if self._then:
                    self.follow(self._then)
            distance_m -= step_m
        self._straight(distance_m)

    def _straight(self, distance_m: float) -> None:
        self.east_m += distance_m * math.sin(self.heading_rad)
        self.north_m += distance_m * math.cos(self.heading_rad)
