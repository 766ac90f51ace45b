"""A field with two headlands, one of them slanting, and the drive over it.

Two swaths along each end first, then up and down between them. The hands move one switch for the
whole bar: it opens so much too early, and shuts so much too late, as a person's reaction takes, so
that nothing is left out. All of that ground is covered twice, unless something shuts what is
covered already.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from host_sim.runs.record import Column

BAR_M, SECTIONS = 3.5, 7
SLANT_DEG = 20.0  # of the northern headland, rising to the east
TILT = math.radians(SLANT_DEG)
SPEED_M_S = 5 / 3.6
REACTION_S = 0.7  # of a person at a switch; common practice, no source
HEADLAND_M = 2 * BAR_M
RUN_UP_M = 6.0
BEYOND_M = 3.0  # from the last corner to the turn
ARC_M = 4.0
STAND_S, RAMP_S = 3.0, 3.0


@dataclass
class Turtle:
    """Drives straight and along arcs, and notes events by the way driven."""

    east_m: float
    north_m: float
    heading_deg: float
    way_m: float = 0.0
    events: list[tuple[float, str]] = field(default_factory=list)

    def _step(self, length_m: float, heading_deg: float) -> None:
        self.east_m += length_m * math.sin(math.radians(heading_deg))
        self.north_m += length_m * math.cos(math.radians(heading_deg))

    def forward(self, length_m: float) -> None:
        """Go straight."""
        self._step(length_m, self.heading_deg)
        self.way_m += length_m

    def turn(self, angle_deg: float, radius_m: float) -> None:
        """Turn, + to the right, as an event of the scenario does."""
        self.events.append((self.way_m, f"turn_deg = {angle_deg:.6f}\nradius_m = {radius_m:.6f}"))
        chord_m = 2 * radius_m * math.sin(math.radians(abs(angle_deg)) / 2)
        self._step(chord_m, self.heading_deg + angle_deg / 2)
        self.heading_deg += angle_deg
        self.way_m += math.radians(abs(angle_deg)) * radius_m

    def work(self, first_m: float, last_m: float, length_m: float, what: str) -> None:
        """Go straight, with the bar on from the first to the second way from here."""
        self.events.append((self.way_m + first_m, f'implement = "down"\nnote = "{what}"'))
        self.events.append((self.way_m + last_m, 'implement = "up"'))
        self.forward(length_m)


@dataclass(frozen=True)
class Headland:
    """A field of so many passes between its headlands, so long at its western edge."""

    passes: int = 4
    length_m: float = 25.0

    @property
    def width_m(self) -> float:
        return self.passes * BAR_M

    def top_m(self, east_m: float) -> float:
        """Where the northern headland begins, at an easting."""
        return HEADLAND_M + self.length_m + east_m * math.tan(TILT)

    def middles_m(self) -> list[float]:
        """Eastings of the passes between the headlands."""
        return [BAR_M * (index + 0.5) for index in range(self.passes)]

    def corners(self) -> Column:
        """Of the whole field, counter-clockwise."""
        depth_m = HEADLAND_M / math.cos(TILT)
        return np.array([(0.0, 0.0), (self.width_m, 0.0),
                         (self.width_m, self.top_m(self.width_m) + depth_m),
                         (0.0, self.top_m(0.0) + depth_m)])

    def drive(self) -> Turtle:
        """The way over the field with what the hands do; it begins RUN_UP_M west, heading east."""
        turtle = Turtle(-RUN_UP_M, BAR_M / 2, 90.0)
        self._southern(turtle)
        self._northern(turtle)
        self._between(turtle)
        turtle.forward(2.0)
        return turtle

    def _southern(self, turtle: Turtle) -> None:
        """Two swaths along the southern edge, there and back."""
        for turn_deg in (-180, 90):
            turtle.work(RUN_UP_M, RUN_UP_M + self.width_m, 2 * RUN_UP_M + self.width_m,
                        "southern headland")
            turtle.turn(turn_deg, BAR_M / 2)

    def _northern(self, turtle: Turtle) -> None:
        """Two swaths along the slanting edge, there and back; the bar stands across the slope."""
        along_deg = 90 - SLANT_DEG
        lead_m = ARC_M * math.tan(math.radians(along_deg) / 2)
        line_m = self.top_m(turtle.east_m) + BAR_M / 2 / math.cos(TILT)
        turtle.forward(line_m - turtle.north_m - lead_m)
        turtle.turn(along_deg, ARC_M)
        spare_m = BAR_M * math.tan(TILT)
        slope_m = self.width_m / math.cos(TILT)
        to_edge_m = -turtle.east_m / math.cos(TILT)
        turtle.work(to_edge_m - spare_m, to_edge_m + slope_m + spare_m,
                    to_edge_m + slope_m + RUN_UP_M, "northern headland")
        turtle.turn(-180, BAR_M / 2)
        to_edge_m = (turtle.east_m - self.width_m) / math.cos(TILT)
        turtle.work(to_edge_m - spare_m, to_edge_m + slope_m + spare_m,
                    to_edge_m + slope_m + RUN_UP_M, "northern headland")
        turtle.turn(-along_deg, ARC_M)

    def _between(self, turtle: Turtle) -> None:
        """Up and down between the headlands, by hands that are early and late."""
        react_m = REACTION_S * SPEED_M_S
        turtle.forward(turtle.north_m)
        middles = self.middles_m()
        turtle.turn(-180, (middles[0] - turtle.east_m) / 2)
        for index, middle in enumerate(middles):
            north = index % 2 == 0
            top = self.top_m(middle + BAR_M / 2)
            if north:
                end = self.top_m(middle + 1.5 * BAR_M) + BEYOND_M
                first, last = HEADLAND_M - turtle.north_m, top - turtle.north_m
            else:
                end = HEADLAND_M - BEYOND_M
                first, last = turtle.north_m - top, turtle.north_m - HEADLAND_M
            turtle.work(first - react_m, last + react_m, abs(end - turtle.north_m),
                        f"pass {index + 1}")
            if index + 1 < self.passes:
                turtle.turn(180 if north else -180, BAR_M / 2)


def scenario_files(headland: Headland) -> dict[str, str]:
    """The scenario and its speed trace, by name: those in host_sim/scenarios/ are of HEADLAND."""
    turtle = headland.drive()
    ramp_m = SPEED_M_S * RAMP_S / 2
    end_s = STAND_S + RAMP_S + (turtle.way_m - ramp_m) / SPEED_M_S
    trace = (f"time_s,speed_m_s\n0,0\n{STAND_S:g},0\n{STAND_S + RAMP_S:g},{SPEED_M_S:.6f}\n"
             f"{end_s:.3f},{SPEED_M_S:.6f}\n")
    text = ("# Made by host_sim/trials/headland.py: a field with two headlands.\n\n"
            'title = "Between two headlands"\nmachine = "headland.machine.toml"\n\n[drive]\n'
            'speed_trace = "headland.csv"\nseed = 1\nfield = "ordinary"\nheading_deg = 90\n\n'
            '[[event]]\nat_s = 1\nmaster = "on"\n')
    text += "".join(f"\n[[event]]\nat_m = {at_m:.4f}\n{lines}\n"
                    for at_m, lines in sorted(turtle.events, key=lambda event: event[0]))
    return {"headland.toml": text, "headland.csv": trace}


HEADLAND = Headland()
