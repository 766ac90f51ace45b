"""The ground from above: sections across, distance along, coloured by how far off the rate was.

Painted on a matplotlib axis or figure in marker colours (see svg.py).
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure

from host_sim.report.basis import basis_of
from host_sim.report.decimate import worst_of
from host_sim.report.palette import MARKERS
from host_sim.report.picture import Picture
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.report.svg import Size
from host_sim.runs.judged import CELL_M
from host_sim.runs.truth import ground_cells


def ribbon(axis: Axes, picture: Picture, size: Size) -> None:
    """Section 1 on top, heights as the widths."""
    worst, cells = worst_of(ground_cells(picture.truth), size.buckets)
    x = picture.shown("distance_m", np.arange(len(worst) + 1, dtype=np.float64) * cells * CELL_M)
    y = np.concatenate([[0.0], np.cumsum(picture.truth.section_width_m)])
    colours = ListedColormap([colour for _, colour, _ in RATE_CLASSES])
    bounds = [0.0, *(bound for bound, _, _ in RATE_CLASSES[:-1]), 1e9]
    axis.pcolormesh(x, y, np.ma.masked_invalid(worst.T), cmap=colours,
                    norm=BoundaryNorm(bounds, len(RATE_CLASSES)), rasterized=True)
    for edge in y[1:-1]:
        axis.axhline(edge, color=MARKERS["page"], linewidth=1.2)
    axis.set_yticks((y[1:] + y[:-1]) / 2, [str(i + 1) for i in range(len(y) - 1)])
    axis.set_ylim(y[-1], y[0])
    axis.tick_params(length=0, labelbottom=False)
    axis.grid(False)
    axis.spines[:].set_visible(False)
    axis.set_title(f"section: {basis_of(picture.record.about).applied} against wanted")


def paint_ribbon(figure: Figure, picture: Picture, size: Size) -> None:
    """The ribbon alone, with the distance below it."""
    axis = figure.subplots()
    ribbon(axis, picture, size)
    axis.tick_params(labelbottom=True)
    axis.set_xlabel(f"distance ({picture.unit('distance_m')})")
