"""The ground that each section covered, as pieces of swath with what was applied on them.

A run of the twin gives what is true; one that was measured, or `as_measured`, what the controller
believed. A section is at work where it lets out a tenth or more of what was wanted; in a measured
run, where it was told to be open. What drips out of it otherwise is kept with the piece before, so
that all volumes add up to the run's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from host_sim.common.earth import Origin
from host_sim.common.errors import InputError
from host_sim.runs.judged import M2_HA
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.truth import Flags

LEAST_SHARE = 0.1  # of the wanted rate: less is a valve that opens or drips
LONGEST_M = 2.0
SHARPEST_DEG = 6.0  # a piece is a quadrangle; on an arc it is a short one
TURNED_ROUND_DEG = 90.0  # from there on ground that is met again counts as covered twice
ML_L = 1000.0


@dataclass
class Piece:
    """A quadrangle of ground under one section.

    `section` is 0 for the first, on the left; `stroke` is one for all pieces from an opening of
    the section to its shutting. `ring_m` are its corners, counter-clockwise, in metres east and
    north of the origin, empty where nobody knows where it was. `after_l` came out behind its end.
    """

    section: int
    stroke: int
    start_s: float
    end_s: float
    ring_m: Column
    area_ha: float
    volume_l: float
    wanted_l_ha: float
    after_l: float = 0.0

    @property
    def rate_l_ha(self) -> float:
        """What was applied on it."""
        return self.volume_l / self.area_ha


@dataclass
class Swaths:
    """All pieces of a run, in the order of section and time, and the way of the bar's middle."""

    origin: Origin
    widths_m: list[float]
    way_s: Column
    way_m: Column
    pieces: list[Piece] = field(default_factory=list)
    before_l: float = 0.0  # came out of sections that never were at work

    @property
    def area_ha(self) -> float:
        """Way times width of the sections at work; ground that was covered twice counts twice."""
        return sum(piece.area_ha for piece in self.pieces)

    @property
    def volume_l(self) -> float:
        """Everything that came out."""
        return self.before_l + sum(piece.volume_l + piece.after_l for piece in self.pieces)


def swaths_of(record: RunRecord) -> Swaths:
    """The pieces of a run. Raises InputError where it does not know where it was."""
    if not record.has_place:
        raise InputError("the run does not know where it was: it has no true_east_m, true_north_m, "
                         "true_heading_deg (docs/how_to/follow_the_position.md)")
    widths_m = record.about["section_width_m"]
    place = record.about.get("place") or {"latitude_deg": 0.0, "longitude_deg": 0.0}
    way = _Way(record)
    found = Swaths(Origin(**place), widths_m, way.time_s, way.middle)
    left_m = -sum(widths_m) / 2
    for section, width_m in enumerate(widths_m):
        _add_section(found, way, section, left_m, width_m)
        left_m += width_m
    return found


class _Way:
    """Where the bar was at each row, and what happened in each interval between two."""

    def __init__(self, record: RunRecord) -> None:
        self.time_s = record["time_s"]
        self.middle = np.column_stack([record["true_east_m"], record["true_north_m"]])
        heading = np.unwrap(np.radians(record["true_heading_deg"]))
        self.turned_deg = np.degrees(heading)
        self.right = np.column_stack([np.cos(heading), -np.sin(heading)])
        self.step_m = np.diff(record["true_distance_m"])
        self.volume_l = np.diff(record.section_ml, axis=0) / ML_L
        self.wanted_l_ha = record["wanted_ml_ha"][1:] / ML_L
        known = record["fix_quality"] > 0 if record.about.get("measured") else np.ones(
            len(record), dtype=bool)
        self.known = known[:-1] & known[1:]
        self.on = self._at_work(record)

    def _at_work(self, record: RunRecord) -> Flags:
        """Whether each section was at work, a row an interval."""
        count = self.volume_l.shape[1]
        if record.about.get("measured"):
            told = record["section_mask"][:-1].astype(int)[:, None] >> np.arange(count) & 1
            return (told > 0) & (self.step_m > 0)[:, None]
        area_ha = self.step_m[:, None] * np.array(record.about["section_width_m"]) / M2_HA
        least_l = LEAST_SHARE * self.wanted_l_ha[:, None] * area_ha
        return (self.volume_l > least_l) & (self.step_m > 0)[:, None]


def _add_section(found: Swaths, way: _Way, section: int, left_m: float, width_m: float) -> None:
    """Append the pieces of one section, whose left edge is so far right of the middle."""
    area_ha = way.step_m * width_m / M2_HA
    volume_l = way.volume_l[:, section]
    on = np.concatenate([[False], way.on[:, section], [False]])
    edges = np.flatnonzero(np.diff(on.astype(int)))
    running = np.concatenate([[0.0], np.cumsum(volume_l)])
    last_end = 0
    for start, stop in edges.reshape(-1, 2).tolist():
        between_l = float(running[start] - running[last_end])
        if last_end:
            found.pieces[-1].after_l = between_l
        else:
            found.before_l += between_l
        stroke = found.pieces[-1].stroke + 1 if found.pieces else 0
        for first, end, turns in _cuts(way, start, stop):
            wanted_l = float((way.wanted_l_ha * area_ha)[first:end].sum())
            area = float(area_ha[first:end].sum())
            found.pieces.append(Piece(
                section, stroke + turns, float(way.time_s[first]), float(way.time_s[end]),
                _ring(way, first, end, left_m, width_m), area,
                float(running[end] - running[first]), wanted_l / area))
        last_end = stop
    rest_l = float(running[-1] - running[last_end])
    if last_end:
        found.pieces[-1].after_l = rest_l
    else:
        found.before_l += rest_l


def _cuts(way: _Way, start: int, stop: int) -> list[tuple[int, int, int]]:
    """The pieces of one stroke: first and end of their intervals, how often it turned round."""
    found = []
    first, length_m, turns = start, 0.0, 0
    round_from = way.turned_deg[start]
    for index in range(start, stop):
        length_m += way.step_m[index]
        turned = abs(way.turned_deg[index + 1] - way.turned_deg[first])
        if (length_m >= LONGEST_M or turned >= SHARPEST_DEG or index + 1 == stop
                or way.known[index] != way.known[first]
                or way.wanted_l_ha[index] != way.wanted_l_ha[min(index + 1, stop - 1)]):
            found.append((first, index + 1, turns))
            first, length_m = index + 1, 0.0
            if abs(way.turned_deg[index + 1] - round_from) >= TURNED_ROUND_DEG:
                turns, round_from = turns + 1, way.turned_deg[index + 1]
    return found


def _ring(way: _Way, first: int, end: int, left_m: float, width_m: float) -> Column:
    """Corners, counter-clockwise: out along the right edge, back along the left one."""
    if not way.known[first]:
        return np.zeros((0, 2))
    ends = (first, end, end, first)
    sides = (left_m + width_m, left_m + width_m, left_m, left_m)
    return np.array([way.middle[row] + side * way.right[row]
                     for row, side in zip(ends, sides, strict=True)])


def ring_degrees(origin: Origin, ring_m: Column) -> tuple[Column, Column]:
    """Latitudes and longitudes of the corners."""
    return origin.to_degrees(ring_m[:, 0], ring_m[:, 1])
