"""Two runs over each other: rate errors along the way, and how they are spread.

Painted on matplotlib figures in marker colours (see svg.py).
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from host_sim.report.decimate import min_max
from host_sim.report.detail_charts import HISTOGRAM_PCT, error_shares, frame_histogram
from host_sim.report.palette import MARKERS
from host_sim.report.picture import Picture
from host_sim.report.svg import Size

COLOURS = ("true", "metered")  # of this run, of the other
SHOWN_PCT = 25.0


def paint_errors(figure: Figure, pictures: tuple[Picture, Picture], names: tuple[str, str],
                 size: Size) -> None:
    """Rate error along the way, of both; what is beyond the ends of the scale is cut off."""
    axis = figure.subplots()
    axis.axhspan(-5, 5, color=MARKERS["band"], linewidth=0, zorder=0)
    for picture, name, colour in zip(pictures, names, COLOURS, strict=True):
        error_pct = np.clip(100 * picture.truth.error, -SHOWN_PCT, SHOWN_PCT)
        axis.plot(*min_max(picture.way, error_pct, size.buckets), color=MARKERS[colour],
                  label=name, alpha=0.85)
    axis.set_ylim(-SHOWN_PCT, SHOWN_PCT)
    axis.set_title("rate error (%)")
    axis.set_xlabel(f"distance ({pictures[0].unit('distance_m')})")
    axis.legend(loc="lower right", bbox_to_anchor=(1.0, 0.99), ncols=2, borderaxespad=0.1)


def paint_spreads(figure: Figure, pictures: tuple[Picture, Picture]) -> None:
    """How the distance of each is spread over rate errors. Something must have been judged."""
    axis = figure.subplots()
    for picture, colour in zip(pictures, COLOURS, strict=True):
        axis.stairs(error_shares(picture.truth), HISTOGRAM_PCT, color=MARKERS[colour],
                    linewidth=1.4)
    frame_histogram(axis)
