"""What lies on the ground and where, while it happens: slabs of swath for the map of the field.

A slab is a short piece of the way with what each section put on it. It is what `maps/swaths.py`
works out of a whole run, checked against it, and needs no numpy. A section is at work where it
lets out a tenth or more of what is wanted, or where liquid was asked of it and less came.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GRAIN_M = 0.25  # along the way: as fine as openings and shuttings are placed
LONGEST_M = 2.0
SHARPEST_DEG = 6.0  # a slab is drawn as quadrangles; on an arc it is a short one
LEAST_SHARE = 0.1  # of the wanted rate: less is a valve that opens or drips
MOST_PERMILLE = 9999

Place = tuple[float, float, float]  # east and north in metres, heading in degrees
Told = list[int | None]


@dataclass
class _Slab:
    """One that grows, from a place to a place."""

    start: Place
    end: Place
    works: tuple[bool, ...]
    wanted_ml_ha: int
    applied_ml: list[float]
    target_ml: list[float]
    length_m: float = 0.0

    def told(self) -> Told:
        """As a page gets it, in whole numbers: cm, cm and tenths of a degree of both ends, the
        wanted rate in mL/ha, then for each section applied over wanted in thousandths."""
        numbers: Told = [*place_told(self.start), *place_told(self.end), self.wanted_ml_ha]
        for works, applied_ml, target_ml in zip(self.works, self.applied_ml, self.target_ml,
                                                strict=True):
            numbers.append(min(round(1000 * applied_ml / target_ml), MOST_PERMILLE)
                           if works and target_ml else None)
        return numbers


def place_told(place: Place) -> list[int]:
    """A place in whole numbers: cm east, cm north, tenths of a degree."""
    east_m, north_m, heading_deg = place
    return [round(east_m * 100), round(north_m * 100), round(heading_deg * 10)]


class SwathSlabs:
    """Follows one bar; `take()` gives the slabs that are finished, `growing()` the one that is not.

    Every grain of the way is judged as a whole, so a valve that flutters makes no crowd of slabs.
    """

    def __init__(self, section_count: int) -> None:
        self._sections = range(section_count)
        self._finished: list[Told] = []
        self._slab: _Slab | None = None
        self._at: Place | None = None
        self._begin_grain()

    def _begin_grain(self) -> None:
        self._from = self._at
        self._length_m = 0.0
        self._asked_m = [0.0 for _ in self._sections]
        self._applied_ml = [0.0 for _ in self._sections]
        self._target_ml = [0.0 for _ in self._sections]

    def add(self, place: Place | None, step_m: float, asked: Sequence[bool],
            applied_ml: Sequence[float], target_ml: Sequence[float], wanted_ml_ha: int) -> None:
        """Go on by step_m to a place, None where nobody knows it, with what was let out."""
        if place is None or self._at is None:
            self._cut()
            self._at = place
            self._begin_grain()
            return
        self._at = place
        self._length_m += step_m
        for section in self._sections:
            self._asked_m[section] += step_m * asked[section]
            self._applied_ml[section] += applied_ml[section]
            self._target_ml[section] += target_ml[section]
        if self._length_m >= GRAIN_M:
            self._end_grain(wanted_ml_ha)

    def _end_grain(self, wanted_ml_ha: int) -> None:
        """Let the slab grow by the grain, or begin another."""
        assert self._from and self._at
        works = tuple(
            self._asked_m[section] >= self._length_m / 2
            or 0.0 < LEAST_SHARE * self._target_ml[section] <= self._applied_ml[section]
            for section in self._sections)
        slab = self._slab
        if slab and (works != slab.works or wanted_ml_ha != slab.wanted_ml_ha):
            self._cut()
        if any(works):
            self._grow(works, wanted_ml_ha)
        self._begin_grain()

    def _grow(self, works: tuple[bool, ...], wanted_ml_ha: int) -> None:
        assert self._from and self._at
        nothing = [0.0 for _ in self._sections]
        slab = self._slab = self._slab or _Slab(
            self._from, self._at, works, wanted_ml_ha, nothing, list(nothing))
        slab.end = self._at
        slab.length_m += self._length_m
        for section in self._sections:
            slab.applied_ml[section] += self._applied_ml[section]
            slab.target_ml[section] += self._target_ml[section]
        turned_deg = abs((slab.end[2] - slab.start[2] + 180.0) % 360.0 - 180.0)
        if slab.length_m >= LONGEST_M or turned_deg >= SHARPEST_DEG:
            self._cut()

    def _cut(self) -> None:
        if self._slab:
            self._finished.append(self._slab.told())
        self._slab = None

    def take(self) -> list[Told]:
        """The slabs that were finished since the last call."""
        finished, self._finished = self._finished, []
        return finished

    def growing(self) -> Told | None:
        """The slab behind the bar, None where there is none."""
        return self._slab.told() if self._slab else None

    def at_told(self) -> list[int] | None:
        """Where the middle of the bar is."""
        return place_told(self._at) if self._at else None
