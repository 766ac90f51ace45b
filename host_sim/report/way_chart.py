"""The whole drive along its way: a ribbon of the sections, and below it rate, speed, flow, duty.

Painted on a matplotlib figure in marker colours (see svg.py).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import Collection, LineCollection, PolyCollection
from matplotlib.figure import Figure

from host_sim.report.decimate import min_max
from host_sim.report.palette import MARKERS
from host_sim.report.picture import TOLERANCE, Picture
from host_sim.report.ribbon import ribbon
from host_sim.report.svg import Size
from host_sim.runs.record import Column
from rate_control.units import DUTY_FULL, PWM_PUMP

DIGIT_IN = 0.07  # of a label; two labels must not overlap

# Whether a pump is driven: column of the record and title.
DRIVEN = {
    True: ("duty_u16", "duty of the pump (%)"),
    False: ("position_u16", "valve position, as the controller reckons (%)"),
}


def paint_way(figure: Figure, picture: Picture, size: Size) -> None:
    """The whole drive along its way: ribbon, rate, speed, flow, duty, one below the other."""
    ratios = [0.2 + 0.28 * picture.record.section_count, 1.5, 1.1, 1.3, 1.0]
    axes = figure.subplots(5, 1, sharex=True, height_ratios=ratios)
    painters = (ribbon, _rate, _speed, _flow, _drive)
    for axis, paint in zip(axes, painters, strict=True):
        paint(axis, picture, size)
        if axis is not axes[0]:
            _shade_lifted(axis, picture)
    _number_events(list(axes), picture, size)
    axes[-1].set_xlabel(f"distance ({picture.unit('distance_m')})")
    if picture.way[-1] > picture.way[0]:
        axes[-1].set_xlim(picture.way[0], picture.way[-1])


def _rate(axis: Axes, picture: Picture, size: Size) -> None:
    way, wanted = picture.way, picture.wanted_rate
    x, low = min_max(way, wanted * (1 - TOLERANCE), size.buckets)
    x_high, high = min_max(way, wanted * (1 + TOLERANCE), size.buckets)
    axis.fill_between(x, low, np.interp(x, x_high, high), color=MARKERS["band"], linewidth=0,
                      label="\u00b15 %")
    _line(axis, picture, picture.applied_rate, size, "true", picture.line)
    _line(axis, picture, wanted, size, "wanted", "wanted", linestyle=(0, (4, 2)))
    if np.isfinite(wanted).any():
        axis.set_ylim(0.6 * np.nanmin(wanted), 1.25 * np.nanmax(wanted))
    _finish(axis, f"application rate ({picture.unit('rate_ml_ha')})")


def _speed(axis: Axes, picture: Picture, size: Size) -> None:
    speed = picture.shown("speed_mm_s", picture.record["true_speed_m_s"][:-1])
    _line(axis, picture, speed, size, "true", "")
    axis.set_ylim(bottom=0)
    axis.set_title(f"ground speed ({picture.unit('speed_mm_s')})")


def _flow(axis: Axes, picture: Picture, size: Size) -> None:
    record = picture.record
    if not picture.measured:
        metered = np.where(record["flow_valid"] > 0, record["flow_ul_s"], 0.0)
        _line(axis, picture, picture.flow(metered, 1e-9), size, "metered", "by the meter",
              linewidth=2.2, alpha=0.7)
    flow = picture.flow(record["true_flow_ml_s"], 1e-6)
    _line(axis, picture, flow, size, "true", picture.line)
    _line(axis, picture, picture.flow(record["target_ul_s"], 1e-9), size, "wanted", "wanted",
          linestyle=(0, (4, 2)))
    axis.set_ylim(bottom=0)
    _finish(axis, f"flow ({picture.unit('flow_ul_s')})")


def _drive(axis: Axes, picture: Picture, size: Size) -> None:
    """What the controller drives: the duty of a pump, or the place of a regulating valve."""
    actuator = picture.record.about.get("settings", {}).get("actuator", PWM_PUMP)
    column, title = DRIVEN[actuator == PWM_PUMP]
    _line(axis, picture, 100 * picture.record[column][:-1] / DUTY_FULL, size, "true", "")
    axis.set_ylim(0, 105)
    axis.set_title(title)


def _line(axis: Axes, picture: Picture, values: Column, size: Size, colour: str, label: str,
          **style: Any) -> None:
    axis.plot(*min_max(picture.way, values, size.buckets), color=MARKERS[colour], label=label,
              **style)


def _finish(axis: Axes, title: str) -> None:
    """Title on the left, legend on the same line on the right."""
    axis.set_title(title)
    axis.legend(loc="lower right", bbox_to_anchor=(1.0, 0.97), ncols=3, borderaxespad=0.1,
                handlelength=1.4, columnspacing=1.0)


def _shade_lifted(axis: Axes, picture: Picture) -> None:
    """Grey where the controller was not permitted to apply."""
    off = np.concatenate([[False], ~picture.truth.permitted, [False]]).astype(int)
    starts, ends = np.flatnonzero(np.diff(off) > 0), np.flatnonzero(np.diff(off) < 0)
    way = np.append(picture.way, picture.way[-1])
    spans = [[(x, 0), (end, 0), (end, 1), (x, 1)]
             for x, end in zip(way[starts].tolist(), way[ends].tolist(), strict=True)]
    _add(axis, PolyCollection(spans, transform=axis.get_xaxis_transform(), linewidth=0, zorder=0,
                              color=MARKERS["lifted"]))


def _number_events(axes: list[Axes], picture: Picture, size: Size) -> None:
    """Numbers below the ribbon, lines through all charts; near ones share a label."""
    events = picture.record.about.get("events", [])
    places = picture.shown("distance_m", np.array([event["distance_m"] for event in events]))
    lines = [[(x, 0), (x, 1)] for x in np.unique(places).tolist()]
    for axis in axes[1:]:
        _add(axis, LineCollection(lines, transform=axis.get_xaxis_transform(), linewidth=0.5,
                                  alpha=0.7, color=MARKERS["muted"]))
    label_in = DIGIT_IN * (2 * len(str(len(events))) + 2)
    near = label_in / size.width_in * (picture.way[-1] - picture.way[0])
    groups: list[tuple[float, int, int]] = []  # where it begins, its first and last number
    for number, x in enumerate(places.tolist(), start=1):
        if groups and x - groups[-1][0] < near:
            groups[-1] = (*groups[-1][:2], number)
        else:
            groups.append((x, number, number))
    for x, first, last in groups:
        axes[0].annotate(
            str(first) if first == last else f"{first}\u2013{last}",
            xy=(x, 0.0), xycoords=("data", "axes fraction"),
            xytext=(0, -3), textcoords="offset points", ha="center", va="top",
            color=MARKERS["muted"], annotation_clip=False)


def _add(axis: Axes, collection: Collection) -> None:
    """Add many shapes at once, as one element of the page, and leave the limits as they are."""
    axis.add_collection(collection, autolim=False)
