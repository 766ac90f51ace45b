"""Applied over wanted on each metre of the way, while it happens.

The same figure as `host_sim.runs.truth.ground_cells` works out of a whole run, and checked
against it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from host_sim.runs.judged import CELL_M

Cell = tuple[int, list[float | None]]
RATIO_DIGITS = 3


class GroundCells:
    """Sums what falls on the metre that the machine is on; `take()` gives the finished ones.

    A cell is its number along the way and, for each section, applied over wanted; None where
    on less than half of the metre the section was at work.
    """

    def __init__(self, section_count: int) -> None:
        self.section_count = section_count
        self._sections = range(section_count)
        self._number = 0
        self._finished: list[Cell] = []
        self._begin()

    def _begin(self) -> None:
        self._worked_m = [0.0 for _ in self._sections]
        self._applied_ml = [0.0 for _ in self._sections]
        self._target_ml = [0.0 for _ in self._sections]

    def add(self, start_m: float, end_m: float, working: Sequence[bool],
            applied_ml: Sequence[float], target_ml: Sequence[float]) -> None:
        """Spread what happened from start_m to end_m; both never fall from call to call."""
        for number, share in _shares(start_m, end_m):
            if number != self._number:
                self._finish(number)
            for section in self._sections:
                if working[section]:
                    self._worked_m[section] += share * (end_m - start_m)
                    self._applied_ml[section] += share * applied_ml[section]
                    self._target_ml[section] += share * target_ml[section]

    def _finish(self, following: int) -> None:
        """Close the cell; those passed over without a stop in them are blank and left out."""
        ratios = [self._ratio(section) for section in self._sections]
        if any(ratio is not None for ratio in ratios):
            self._finished.append((self._number, ratios))
        self._number = following
        self._begin()

    def _ratio(self, section: int) -> float | None:
        if self._worked_m[section] < CELL_M / 2 or not self._target_ml[section]:
            return None
        return self._applied_ml[section] / self._target_ml[section]

    def take(self) -> list[Cell]:
        """The cells that were finished since the last call."""
        finished, self._finished = self._finished, []
        return finished


def _shares(start_m: float, end_m: float) -> Iterator[tuple[int, float]]:
    """(number, share) of each cell that a piece of the way lies in."""
    number = int(start_m // CELL_M)
    if end_m <= start_m:
        yield number, 1.0
    place_m = start_m
    while place_m < end_m:
        edge_m = min((number + 1) * CELL_M, end_m)
        yield number, (edge_m - place_m) / (end_m - start_m)
        place_m, number = edge_m, number + 1


def in_frame(cells: list[Cell]) -> list[list[Any]]:
    """Cells as a page gets them."""
    return [[number, *(None if ratio is None else round(ratio, RATIO_DIGITS) for ratio in ratios)]
            for number, ratios in cells]
