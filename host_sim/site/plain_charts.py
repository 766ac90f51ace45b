"""The charts of a report as plain SVG text, where there is no matplotlib: in a page.

The same figures as host_sim/report/way_chart.py draws, in the same colours, one below the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby
from typing import Any

from host_sim.common import units
from host_sim.report.decimate import min_max, worst_of
from host_sim.report.page import Charts
from host_sim.report.picture import TOLERANCE, Picture
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.runs.judged import CELL_M
from host_sim.runs.record import Column
from host_sim.runs.truth import ground_cells
from rate_control.units import DUTY_FULL, PWM_PUMP

SIZES = (("wide", 920, 700), ("narrow", 390, 300))  # class in the page, width, points of a line
LEFT, RIGHT, TITLE, GAP = 40, 8, 18, 12
SECTION, CHART = 20, 110  # heights
FONT = 11
LEGEND = 105  # room for the name of a line
LABEL = 30  # room for the numbers of events
Y_TICKS, X_TICK_WIDTH = 4, 110
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Curve:
    """Values along the way, their colour in the page, and how they are called."""

    values: Column
    colour: str
    words: str = ""
    dashed: bool = False


def plain_charts(picture: Picture, figures: dict[str, Any]) -> Charts:
    """Ribbon, rate, speed, flow and duty along the way, in two sizes; tables tell the rest."""
    way = [_way(picture, *size) for size in SIZES]
    return {"way": way, "histogram": [], "zooms": [], "errors": [], "spreads": []}


def _way(picture: Picture, name: str, width: int, buckets: int) -> str:
    scale = _Scale(picture.way, width)
    y = under = TITLE + SECTION * picture.record.section_count + GAP
    parts = []
    for title, lines, band in _charts(picture):
        parts.append(_chart(scale, y, title, lines, band, buckets))
        y += TITLE + CHART + GAP
    parts[:0] = [_ribbon(picture, scale, buckets), _lifted(picture, scale, under, y - GAP)]
    parts.append(_events(picture, scale, under, y - GAP))
    unit = picture.unit("distance_m")
    parts.append(scale.labels(y + 2, f"distance ({unit})"))
    label = "Rate, speed, flow and duty along the way"
    look = f'font-size="{FONT}" font-family="var(--font)" fill="var(--ink)"'
    return (f'<svg class="{name}" role="img" aria-label="{label}" viewBox="0 0 {width} {y + 34}" '
            f'{look}>{"".join(parts)}</svg>')


def _charts(picture: Picture) -> list[tuple[str, list[Curve], Column | None]]:
    """Title, lines and the middle of a band of each chart."""
    record = picture.record
    wanted = picture.wanted_rate
    pump = record.about["settings"].get("actuator", PWM_PUMP) == PWM_PUMP
    driven = record["duty_u16" if pump else "position_u16"][:-1]
    return [
        (f"application rate ({picture.unit('rate_ml_ha')})",
         [Curve(picture.applied_rate, "true", picture.line),
          Curve(wanted, "wanted", "wanted", dashed=True)], wanted),
        (f"ground speed ({picture.unit('speed_mm_s')})",
         [Curve(picture.shown("speed_mm_s", record["true_speed_m_s"][:-1]), "true")], None),
        (f"flow ({picture.unit('flow_ul_s')})",
         [Curve(picture.flow(record["flow_ul_s"] * record["flow_valid"], 1e-9), "metered",
               "by the meter"),
          Curve(picture.flow(record["true_flow_ml_s"], 1e-6), "true", picture.line)], None),
        ("duty of the pump (%)" if pump else "valve position (%)",
         [Curve(driven * (100 / DUTY_FULL), "true")], None),
    ]


class _Scale:
    """Places along the way in the picture's own units."""

    def __init__(self, way: Column, width: int) -> None:
        self.low, self.high = float(way[0]), max(float(way[-1]), float(way[0]) + 1e-6)
        self.width = width
        self.way = way
        self._per = (width - LEFT - RIGHT) / (self.high - self.low)

    def x(self, place: float) -> float:
        return LEFT + (min(max(place, self.low), self.high) - self.low) * self._per

    def labels(self, y: float, words: str) -> str:
        ticks = _ticks(self.low, self.high, max((self.width - LEFT) // X_TICK_WIDTH, 2))
        texts = [_text(self.x(tick), y + FONT, f"{tick:g}", "middle") for tick in ticks]
        return "".join(texts) + _text((LEFT + self.width) / 2, y + 2.3 * FONT, words, "middle")


def _ribbon(picture: Picture, scale: _Scale, buckets: int) -> str:
    """A strip for each section, the colour of each piece by applied over wanted."""
    worst, cells = worst_of(ground_cells(picture.truth), buckets)
    one = units.shown("distance_m", cells * CELL_M, picture.us)
    parts = [_text(LEFT, FONT, "section: applied against wanted")]
    for section in range(picture.record.section_count):
        y = TITLE + SECTION * section
        parts.append(_text(LEFT - 6, y + SECTION / 2 + 4, str(section + 1), "end"))
        colours = enumerate(_colour(float(ratio)) for ratio in worst[:, section].tolist())
        for colour, members in groupby(colours, key=lambda pair: pair[1]):
            places = [place for place, _ in members]
            if colour:
                x, end = scale.x(places[0] * one), scale.x((places[-1] + 1) * one)
                parts.append(f'<rect x="{x:.1f}" y="{y}" width="{end - x:.1f}" '
                             f'height="{SECTION - 2}" fill="{colour}"/>')
    return "".join(parts)


def _lifted(picture: Picture, scale: _Scale, top: int, bottom: int) -> str:
    """Grey where the controller was not permitted to apply."""
    parts = []
    runs = groupby(zip(scale.way.tolist(), picture.truth.permitted.tolist(), strict=True),
                   key=lambda pair: pair[1])
    spans = [(permitted, [place for place, _ in members]) for permitted, members in runs]
    ends = [places[0] for _, places in spans[1:]] + [scale.high]
    for (permitted, places), end in zip(spans, ends, strict=True):
        x = scale.x(places[0])
        if not permitted:
            parts.append(f'<rect x="{x:.1f}" y="{top}" width="{scale.x(end) - x:.1f}" '
                         f'height="{bottom - top}" fill="var(--lifted)"/>')
    return "".join(parts)


def _events(picture: Picture, scale: _Scale, top: int, bottom: int) -> str:
    """A line through all charts for each event, its number on top; near ones share a label."""
    parts: list[str] = []
    groups: list[tuple[float, int, int]] = []  # where it begins, its first and last number
    for number, event in enumerate(picture.record.about.get("events", []), start=1):
        x = scale.x(units.shown("distance_m", event["distance_m"], picture.us))
        parts.append(f'<path d="M{x:.1f} {top}V{bottom}" stroke="var(--muted)" '
                     'stroke-width=".5"/>')
        if groups and x - groups[-1][0] < LABEL:
            groups[-1] = (*groups[-1][:2], number)
        else:
            groups.append((x, number, number))
    parts += [_text(x, top - 2, str(first) if first == last else f"{first}\u2013{last}", "middle")
              for x, first, last in groups]
    return "".join(parts)


def _colour(ratio: float) -> str:
    """Of a ratio of applied over wanted; none where nothing was wanted."""
    if math.isnan(ratio):
        return ""
    return next((colour for bound, colour, _ in RATE_CLASSES if ratio < bound),
                RATE_CLASSES[-1][1])


def _chart(scale: _Scale, y: int, title: str, lines: list[Curve], band: Column | None,
           buckets: int) -> str:
    """Title with the names of the lines, grid, band and lines."""
    known = [value for line in lines for value in line.values.tolist() if not math.isnan(value)]
    # What shoots far over what is wanted is cut: the rest would be a flat line below it.
    top = max([1e-9, *known])
    wanted = [] if band is None else [v for v in band.tolist() if not math.isnan(v)]
    if wanted:
        top = min(top, 1.6 * max(wanted))
    top *= 1.05

    def place(value: float) -> float:
        return y + TITLE + CHART * (1 - min(max(value / top, 0.0), 1.0))

    parts = [_text(LEFT, y + FONT, title)]
    for tick in _ticks(0.0, top, Y_TICKS):
        at = place(tick)
        parts.append(f'<path d="M{LEFT} {at:.1f}H{scale.width - RIGHT}" stroke="var(--grid)"/>'
                     + _text(LEFT - 5, at + 4, f"{tick:g}", "end"))
    if band is not None:
        width = max(2 * TOLERANCE * CHART * (max(wanted, default=0.0) / top), 1.0)
        parts.append(_path(scale, place, band, buckets, f'stroke="var(--band)" '
                                                        f'stroke-width="{width:.1f}"'))
    for index, line in enumerate(lines):
        style = f'stroke="var(--{line.colour})" stroke-width="1.2"'
        dashes = ' stroke-dasharray="5 3"' if line.dashed else ""
        parts.append(_path(scale, place, line.values, buckets, style + dashes))
        if line.words:
            x = scale.width - RIGHT - LEGEND * (len(lines) - index)
            parts.append(f'<path d="M{x} {y + 7}h14" {style}{dashes}/>'
                         + _text(x + 18, y + FONT, line.words))
    return "".join(parts)


def _path(scale: _Scale, place: Any, values: Column, buckets: int, style: str) -> str:
    """A line with a gap where a value is no number."""
    x, found = min_max(scale.way, values, buckets)
    steps, pen = [], "M"
    for at, value in zip(x.tolist(), found.tolist(), strict=True):
        if math.isnan(value):
            pen = "M"
            continue
        steps.append(f"{pen}{scale.x(at):.1f} {place(value):.1f}")
        pen = "L"
    return f'<path d="{"".join(steps)}" fill="none" stroke-linejoin="round" {style}/>'


def _ticks(low: float, high: float, count: int) -> Sequence[float]:
    """Round numbers between two, about so many."""
    rough = (high - low) / count
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(step for step in STEPS if step * power >= rough * 0.999) * power
    first = math.ceil(low / step)
    return [number * step for number in range(first, math.floor(high / step) + 1)]


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
