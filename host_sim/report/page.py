"""Puts a report together: words, charts and tables into one HTML page."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from host_sim.progress import Progress
from host_sim.report.detail_charts import paint_histogram, paint_zoom
from host_sim.report.picture import Picture
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.report.svg import NARROW, PALETTE, WIDE, Size, draw
from host_sim.report.timeline import timeline
from host_sim.report.way_chart import paint_way
from host_sim.report.words import Teller
from host_sim.run_record import RunRecord
from host_sim.truth import true_run
from rate_control.settings import NAME, UNIT
from rate_control.settings_table import TABLE
from rate_control.settings_words import MEANING, WORDS

ZOOMS = 3
WAY_HEIGHT_IN = 6.4
ZOOM_SIZE = Size("zoom", 3.1, 8.0, 400)
HERE = Path(__file__).resolve().parent


def render(
    record: RunRecord, figures: dict[str, Any], us: bool, tell: Progress = lambda share: None
) -> str:
    """The report of a run as HTML.

    figures: see summary.py; us selects US customary units; tell is told the share done.
    """
    picture = Picture(record, true_run(record, record.about["section_width_m"]), us)
    environment = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True)
    environment.filters["unbroken"] = lambda text: text.replace(" %", "\u00a0%")
    teller = Teller(figures, us)
    return environment.get_template("page.html.j2").render(
        about=record.about,
        figures=figures,
        tell=teller,
        story=teller.story(),
        charts=_charts(picture, figures, tell),
        timeline=timeline(record, teller),
        classes=[(colour, words) for _, colour, words in RATE_CLASSES],
        palette=PALETTE,
        settings=_settings(record.about["settings"]),
        css=(HERE / "page.css").read_text(encoding="utf-8"),
    )


def _charts(picture: Picture, figures: dict[str, Any], tell: Progress) -> dict[str, list[str]]:
    """All charts as SVG, those that need the width in two sizes."""
    way = "Rate, speed, flow and duty along the way"
    spread = "Distance by rate error"
    way_in = WAY_HEIGHT_IN + 0.28 * picture.record.section_count
    stretches = figures["worst_stretches"][:ZOOMS]
    work: list[tuple[str, Callable[[], str]]] = []
    for size in (WIDE, NARROW):
        paint = partial(paint_way, picture=picture, size=size)
        work.append(("way", partial(draw, paint, size, way_in, way)))
        if picture.truth.judged.any():
            paint = partial(paint_histogram, picture=picture)
            work.append(("histogram", partial(draw, paint, size, 2.6, spread)))
    work += [("zooms", partial(_zoom, picture, stretch)) for stretch in stretches]
    charts: dict[str, list[str]] = {"way": [], "histogram": [], "zooms": []}
    for done, (name, make) in enumerate(work):
        tell(done / len(work))
        charts[name].append(make())
    return charts


def _zoom(picture: Picture, stretch: dict[str, Any]) -> str:
    start_s, end_s = stretch["start_s"], stretch["end_s"]
    paint = partial(paint_zoom, picture=picture, start_s=start_s, end_s=end_s)
    return draw(paint, ZOOM_SIZE, 2.3, f"Rate and speed from {start_s:.0f} s to {end_s:.0f} s")


def _settings(values: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """Name, value, unit and meaning of every setting, in the order of the table."""
    rows = []
    for entry in TABLE:
        name, unit = str(entry[NAME]), str(entry[UNIT])
        value = values.get(name)
        text = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
        rows.append((name, text, unit, str(WORDS[name][MEANING])))
    return rows
