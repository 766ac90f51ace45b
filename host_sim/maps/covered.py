"""How often each bit of ground was covered: overlaps and skips, on a raster of small cells.

A cell counts where its middle lies in a piece of swath. A skip is ground without liquid that is
closed in by covered ground: what a circle of half the bar's width cannot get into between swaths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from host_sim.maps.swaths import Piece, Swaths
from host_sim.runs.judged import M2_HA
from host_sim.runs.record import Column
from host_sim.runs.truth import Flags

FINEST_M, CELLS = 0.05, 1_500_000

Counts = NDArray[np.int16]


@dataclass
class Covered:
    """Rows of cells from south to north. `times` were they covered, `skipped` marks skips."""

    west_m: float
    south_m: float
    cell_m: float
    times: Counts
    skipped: Flags

    def _ha(self, cells: float) -> float:
        return float(cells) * self.cell_m**2 / M2_HA

    @property
    def ground_ha(self) -> float:
        """Ground that was covered at all."""
        return self._ha((self.times > 0).sum())

    @property
    def overlap_ha(self) -> float:
        """Ground that was covered again, once for each time."""
        return self._ha(np.maximum(self.times - 1, 0).sum())

    @property
    def skipped_ha(self) -> float:
        return self._ha(self.skipped.sum())

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """West, east, south, north, in metres."""
        rows, columns = self.times.shape
        return (self.west_m, self.west_m + columns * self.cell_m,
                self.south_m, self.south_m + rows * self.cell_m)


def covered_by(swaths: Swaths) -> Covered | None:
    """The raster of all pieces whose place is known, None where there is none."""
    placed = [piece for piece in swaths.pieces if len(piece.ring_m)]
    if not placed:
        return None
    corners = np.concatenate([piece.ring_m for piece in placed])
    reach_m = sum(swaths.widths_m) / 2
    west, south = corners.min(axis=0) - reach_m - 1
    east, north = corners.max(axis=0) + reach_m + 1
    cell_m = max(FINEST_M, float(np.sqrt((east - west) * (north - south) / CELLS)))
    shape = (int((north - south) / cell_m) + 1, int((east - west) / cell_m) + 1)
    times: Counts = np.zeros(shape, dtype=np.int16)
    stroke: Flags = np.zeros(shape, dtype=bool)
    last = (placed[0].section, placed[0].stroke)
    for piece in placed:
        if (piece.section, piece.stroke) != last:
            times += stroke
            stroke[:] = False
            last = (piece.section, piece.stroke)
        _fill(stroke, piece, west, south, cell_m)
    times += stroke
    return Covered(west, south, cell_m, times, closed_in(times > 0, reach_m / cell_m))


def _fill(cells: Flags, piece: Piece, west: float, south: float, cell_m: float) -> None:
    """Set the cells whose middle lies in a piece."""
    corners = (piece.ring_m - (west, south)) / cell_m
    first = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
    last = np.ceil(corners.max(axis=0)).astype(int) + 1
    window = cells[first[1] : last[1], first[0] : last[0]]
    x = np.arange(window.shape[1]) + first[0] + 0.5
    y = (np.arange(window.shape[0]) + first[1] + 0.5)[:, None]
    window |= inside(corners, x, y)


def inside(corners: Column, x: Column, y: Column) -> Flags:
    """Which points lie in a polygon: an odd number of its edges lies east of them."""
    odd: Flags = np.zeros(np.broadcast_shapes(x.shape, y.shape), dtype=bool)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if y0 != y1:
            odd ^= ((y0 > y) != (y1 > y)) & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return odd


def closed_in(covered: Flags, radius: float) -> Flags:
    """What is bare between covered ground: closed with a circle of this radius, in cells."""
    near = distance_transform_edt(~covered) <= radius
    closed = distance_transform_edt(near) > radius
    bare: Flags = closed & ~covered
    return bare
