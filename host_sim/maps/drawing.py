"""Maps of a field, north up, with a scale bar and an arrow; nothing comes from the net.

Painted on a matplotlib figure in the marker colours of report/svg.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure

from host_sim.common import units
from host_sim.maps.covered import Covered, covered_by
from host_sim.maps.swaths import Swaths
from host_sim.report.palette import COVERED, MARKERS
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.report.svg import WIDE, Size

MARGIN = 0.06
STEPS = (1, 2, 5)


class FieldMap:
    """What is on the maps of one run: the truth, and where they differ what was believed."""

    def __init__(self, true: Swaths, believed: Swaths | None, us: bool) -> None:
        self.us = us
        self.swaths = [(("as measured" if believed is None else "true"), true)]
        if believed is not None:
            self.swaths.append(("believed", believed))
        self.covered = [covered_by(swaths) for _, swaths in self.swaths]

    @property
    def placed(self) -> bool:
        """Whether there is anything to draw."""
        return any(self.covered)

    def height_in(self, size: Size) -> float:
        """Of the figure at this width."""
        across = 2 if size is WIDE else 1
        rows = 2 * len(self.swaths) // across
        west, east, south, north = self._extent()
        panel_in = size.width_in / across
        shape = (north - south) / (east - west)
        return rows * min(max(panel_in * shape, 1.2), 1.3 * panel_in) + 0.35 * rows

    def paint(self, figure: Figure, size: Size) -> None:
        """Applied against wanted, and how often, of each."""
        across = 2 if size is WIDE else 1
        rows = 2 * len(self.swaths) // across
        axes: Any = figure.subplots(rows, across, squeeze=False)
        panels = iter(axes.ravel())
        for (name, swaths), covered in zip(self.swaths, self.covered, strict=True):
            self._finish(_applied(next(panels), swaths), f"{name}: applied over wanted")
            self._finish(_times(next(panels), covered), f"{name}: how often covered")

    def _extent(self) -> tuple[float, float, float, float]:
        west, east, south, north = zip(
            *(covered.extent for covered in self.covered if covered), strict=True)
        return min(west), max(east), min(south), max(north)

    def _finish(self, axis: Axes, title: str) -> None:
        west, east, south, north = self._extent()
        margin_m = MARGIN * max(east - west, north - south)
        axis.set_xlim(west, east)
        axis.set_ylim(south - 1.5 * margin_m, north)
        axis.set_aspect("equal")
        axis.set_title(title)
        axis.grid(False)
        axis.set_xticks([])
        axis.set_yticks([])
        axis.spines[:].set_visible(False)
        self._scale(axis, west, south - margin_m, (east - west) / 2.5)
        self._north(axis, east, north, margin_m)

    def _scale(self, axis: Axes, west: float, at: float, most_m: float) -> None:
        """A bar of a round length, in the units of the person."""
        step = units.shown("distance_mm", 1.0, self.us)
        power = 10 ** np.floor(np.log10(most_m * step))
        length = max(one * power for one in STEPS if one * power <= most_m * step)
        axis.plot([west, west + length / step], [at, at], color=MARKERS["ink"], linewidth=2.5,
                  solid_capstyle="butt")
        axis.text(west + length / step, at, f"  {length:g} {units.unit('distance_mm', self.us)}",
                  va="center", color=MARKERS["ink"])

    def _north(self, axis: Axes, east: float, north: float, margin_m: float) -> None:
        axis.annotate("N", (east, north), (east, north - 2.2 * margin_m), ha="center", va="center",
                      color=MARKERS["ink"], annotation_clip=False,
                      arrowprops={"arrowstyle": "-|>", "color": MARKERS["ink"]})


def _applied(axis: Axes, swaths: Swaths) -> Axes:
    """Pieces in the colours of the classes."""
    pieces = [piece for piece in swaths.pieces if len(piece.ring_m) and piece.wanted_l_ha > 0]
    colours = [next(colour for limit, colour, _ in RATE_CLASSES
                    if piece.rate_l_ha / piece.wanted_l_ha < limit) for piece in pieces]
    axis.add_collection(PolyCollection([piece.ring_m for piece in pieces], facecolors=colours,
                                       edgecolors=colours, linewidths=0.2))
    return axis


def _times(axis: Axes, covered: Covered | None) -> Axes:
    """The raster: once, more often, skipped."""
    if covered is not None:
        shown = np.minimum(covered.times, 2).astype(float)
        shown[covered.skipped] = 3
        shown[shown == 0] = np.nan
        axis.imshow(shown, extent=covered.extent, origin="lower", interpolation="nearest",
                    cmap=ListedColormap([colour for colour, _ in COVERED]), vmin=0.5, vmax=3.5)
    return axis
