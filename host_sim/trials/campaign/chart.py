"""A campaign as a picture: how soon, how far off, and which kinds of machine."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from host_sim.plant.catalogue import KINDS
from host_sim.trials.campaign.build import LATE_FACTOR
from host_sim.trials.campaign.session import Campaign

COLOURS = ("#0072b2", "#56b4e9", "#009e73", "#d55e00", "#cc79a7", "#e69f00", "#999999", "#000000")
BINS = 40


def draw(campaign: Campaign, path: Path, suffix: str) -> None:
    """Draw a campaign that has tuned builds into a file; suffix is .png or .svg."""
    figure = Figure(figsize=(10, 6.5), layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(f"{len(campaign.results)} builds, each tuned only by its own procedures")
    settling, time, overshoot, steady = figure.subplots(2, 2).flat
    _settling(settling, campaign)
    for axis, name, words in (
        (time, "settled_s", "slowest change, s until within 5 %"),
        (overshoot, "overshoot_pct", "beyond after a speed step, %"),
        (steady, "steady_pct", "largest steady error, %"),
    ):
        values = np.abs([getattr(result, name) for result in campaign.tuned])
        axis.hist(values, bins=BINS, color=COLOURS[0])
        axis.set_xlabel(words)
        axis.set_ylabel("builds")
        axis.set_yscale("symlog", linthresh=1)
        axis.grid(alpha=0.3)
    figure.savefig(path, format=suffix.lstrip("."), dpi=120)


def _settling(axis: object, campaign: Campaign) -> None:
    from matplotlib.axes import Axes

    assert isinstance(axis, Axes)
    for kind, colour in zip(KINDS, COLOURS, strict=True):
        points = [(result.granted_s, result.settled_s)
                  for result in campaign.tuned if result.kind == kind]
        if points:
            given, needed = zip(*points, strict=True)
            axis.scatter(given, needed, s=8, color=colour, label=kind)
    longest = max(result.granted_s for result in campaign.tuned)
    axis.plot((0, longest), (0, longest), color="black", linewidth=0.8)
    axis.plot((0, longest), (0, LATE_FACTOR * longest), color="black", linewidth=0.8,
              linestyle="--")
    axis.set_xlabel("settling time given, s (dashed: twice)")
    axis.set_ylabel("slowest change, s")
    axis.legend(fontsize=7, ncols=2)
    axis.grid(alpha=0.3)
