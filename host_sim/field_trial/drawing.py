"""Draws the field of a plan: plots with their treatments, the way through them, scale and axes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from host_sim.common import units
from host_sim.common.output import write_whole
from host_sim.field_trial.plan import Plan, Plot

SUFFIXES = (".png", ".svg")
NOTHING = "#ffffff"
INK, MUTED, WAY = "#1c2126", "#5b6670", "#0072b2"
LABEL_PT, LARGEST_IN = 8.0, 24.0
CHARACTER = 0.62  # of its height is the width of a character, about


def draw_plan(plan: Plan, path: Path, us: bool, colours: Mapping[str, str] | None = None,
              lines: Mapping[str, str] | None = None, title: str = "") -> Path:
    """Write the drawing as .png or .svg; returns its path. Raises InputError.

    Plots are coloured by their treatment, or as `colours` has it by name of the plot; `lines` has a
    further line of text for each.
    """
    figure = draw(plan, us, colours or by_treatment(plan), lines or {}, title)
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "field"}):
        return write_whole(path, lambda part: figure.savefig(
            part, format=path.suffix[1:].lower(), dpi=150, metadata={"Date": None}
            if path.suffix.lower() == ".svg" else None))


def draw(plan: Plan, us: bool, colours: Mapping[str, str], lines: Mapping[str, str],
         title: str) -> Figure:
    """The figure. A plot without a known place is not in it."""
    shown = [plot for plot in plan.plots if plot.box]
    step = units.shown("distance_mm", 1.0, us)
    boxes = [tuple(step * edge for edge in plot.box or ()) for plot in shown]
    right, top = (max(box[side] for box in boxes) for side in (2, 3))
    scale_in = _scale_in(shown, boxes, lines)
    size = [min(max(scale * length, least), LARGEST_IN) for scale, length, least in
            zip(scale_in, (right, top), (5.0, 3.5), strict=True)]
    figure = Figure(figsize=(size[0] + 1.2, size[1] + 1.4), layout="constrained")
    axes = figure.subplots()
    for plot, box in zip(shown, boxes, strict=True):
        _plot(axes, plot, box, colours.get(plot.name, NOTHING), lines.get(plot.name, ""))
    _way(axes, shown, step)
    unit = units.unit("distance_mm", us)
    axes.set_xlabel(f"across the way ({unit})")
    axes.set_ylabel(f"along the first pass ({unit})")
    axes.set_title(title or f"{plan.design()}, {len(plan.plots)} plots", loc="left", fontsize=10)
    margin = 0.06 * max(right, top)
    axes.set_xlim(-margin / 2, right + margin / 2)
    axes.set_ylim(-margin, top + margin)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=MUTED)
    return figure


def by_treatment(plan: Plan) -> dict[str, str]:
    """A colour for each plot: light to dark with the rate, white for nothing."""
    most = max((plot.rate_m for plot in plan.plots), default=0.0)
    low = min((plot.rate_m for plot in plan.plots if plot.treated), default=0.0)
    scale = mpl.colormaps["YlGn"]
    return {plot.name: mpl.colors.to_hex(scale(
        0.1 + 0.5 * ((plot.rate_m - low) / (most - low) if most > low else 0.5)))
        if plot.treated else NOTHING for plot in plan.plots}


def _scale_in(plots: list[Plot], boxes: list[tuple[float, ...]], lines: Mapping[str, str]
              ) -> tuple[float, float]:
    """Inches for a unit across and along, so that every label has room in its plot."""
    widest = max(max(len(text) for text in (plot.name, plot.treatment, lines.get(plot.name, "")))
                 for plot in plots)
    count = 2 + any(lines.values())
    label_in = (CHARACTER * LABEL_PT * (widest + 1) / 72, 1.5 * LABEL_PT * (count + 1) / 72)
    narrow, short = (min(box[side + 2] - box[side] for box in boxes) for side in (0, 1))
    return label_in[0] / narrow, label_in[1] / short


def _plot(axes: Axes, plot: Plot, box: tuple[float, ...], colour: str, line: str) -> None:
    left, bottom, right, top = box
    axes.add_patch(Rectangle((left, bottom), right - left, top - bottom, facecolor=colour,
                             edgecolor=INK, linewidth=0.8))
    text = "\n".join(part for part in (plot.name, plot.treatment, line) if part)
    axes.text((left + right) / 2, (bottom + top) / 2, text, ha="center", va="center",
              fontsize=LABEL_PT, color=INK)


def _way(axes: Axes, plots: list[Plot], step: float) -> None:
    """The way through the plots, with an arrow where it begins and where it ends."""
    points: list[tuple[float, float]] = []
    for plot in sorted(plots, key=lambda one: one.order):
        assert plot.x_m is not None and plot.y_m is not None
        forward = plot.length_m if plot.heading_deg == 0.0 else -plot.length_m
        x, y, end = (step * place for place in (plot.x_m, plot.y_m, plot.y_m + forward))
        points += [(x, y), (x, end)]
    axes.plot(*zip(*points, strict=True), color=WAY, linewidth=0.9, alpha=0.45, zorder=0.5)
    for index, words in ((0, "start"), (-1, "end")):
        x, y = points[index]
        before = points[index + 1] if index == 0 else points[index - 1]
        beyond = -1 if y < before[1] else 1
        axes.annotate(words, (x, y), (0, beyond * 9), textcoords="offset points", ha="center",
                      va="center", fontsize=LABEL_PT, color=WAY)
