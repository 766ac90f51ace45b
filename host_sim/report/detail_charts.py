"""A stretch that was off, seen closely, and how the distance is spread over rate errors.

Painted on matplotlib figures in marker colours (see svg.py).
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from host_sim.report.palette import MARKERS
from host_sim.report.picture import TOLERANCE, Picture
from host_sim.runs.record import Column
from host_sim.runs.truth import Truth

ZOOM_S = 3.0  # shown before and after a stretch
HISTOGRAM_PCT = np.arange(-12.0, 12.01, 0.5)


def paint_zoom(figure: Figure, picture: Picture, start_s: float, end_s: float) -> None:
    """Rate and speed around a stretch that was off, over time."""
    truth = picture.truth
    seen = (truth.time_s >= start_s - ZOOM_S) & (truth.time_s <= end_s + ZOOM_S)
    time_s = truth.time_s[seen]
    rate, speed = figure.subplots(2, 1, sharex=True, height_ratios=[1.5, 1])
    wanted, applied = picture.wanted_rate[seen], picture.applied_rate[seen]
    rate.fill_between(time_s, wanted * (1 - TOLERANCE), wanted * (1 + TOLERANCE),
                      color=MARKERS["band"], linewidth=0)
    rate.plot(time_s, wanted, color=MARKERS["wanted"], linestyle=(0, (4, 2)), label="wanted")
    rate.plot(time_s, applied, color=MARKERS["true"], label=picture.line)
    rate.set_title(f"rate ({picture.unit('rate_ml_ha')})")
    if np.isfinite(wanted).any():
        low, high = np.nanmin(wanted), np.nanmax(wanted)
        rate.set_ylim(max(0.4 * low, min(0.85 * low, 0.97 * np.nanmin(applied))),
                      min(1.8 * high, max(1.15 * high, 1.03 * np.nanmax(applied))))
    speed.plot(time_s, picture.shown("speed_mm_s", picture.record["true_speed_m_s"][:-1][seen]),
               color=MARKERS["true"])
    speed.set_title(f"speed ({picture.unit('speed_mm_s')})")
    speed.set_xlabel("time (s)")
    for axis in (rate, speed):
        axis.axvspan(start_s, end_s, color=MARKERS["lifted"], linewidth=0, zorder=0)
        for event in picture.record.about.get("events", []):
            if time_s[0] <= event["time_s"] <= time_s[-1]:
                axis.axvline(event["time_s"], color=MARKERS["muted"], linewidth=0.6)


def paint_histogram(figure: Figure, picture: Picture) -> None:
    """How the distance is spread over rate errors; what is beyond the ends is in the end bars.

    Something must have been judged.
    """
    axis = figure.subplots()
    axis.stairs(error_shares(picture.truth), HISTOGRAM_PCT, fill=True, color=MARKERS["true"])
    frame_histogram(axis)


def error_shares(truth: Truth) -> Column:
    """Share of the distance, in percent, in each bin of the histogram."""
    judged = truth.judged
    error_pct = np.clip(100 * truth.error[judged], HISTOGRAM_PCT[0], HISTOGRAM_PCT[-1] - 1e-9)
    weight = truth.step_m[judged]
    counts, _ = np.histogram(error_pct, HISTOGRAM_PCT, weights=weight)
    shares: Column = 100 * counts / weight.sum()
    return shares


def frame_histogram(axis: Axes) -> None:
    """Scales, limits and lines of tolerance around a histogram."""
    axis.set_ylim(0.01, 100)  # first: a single bar gives a log scale no limits, and a warning
    axis.set_yscale("log")
    axis.set_yticks([0.01, 0.1, 1, 10, 100], ["0.01", "0.1", "1", "10", "100"])
    for limit, style in ((5, (0, (4, 2))), (10, (0, (1, 2)))):
        for side in (-limit, limit):
            axis.axvline(side, color=MARKERS["ink"], linestyle=style, linewidth=0.9)
            axis.text(side, 105, f"{side:+d} %", ha="center", va="bottom")
    axis.set_xlim(HISTOGRAM_PCT[0], HISTOGRAM_PCT[-1])
    axis.set_xlabel("rate error (%), below wanted on the left")
    axis.set_ylabel("share of the distance (%)")
