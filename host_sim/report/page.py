"""Puts a report together: words, charts and tables into one HTML page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from host_sim.common.progress import Progress
from host_sim.report import comparison
from host_sim.report.basis import basis_of, origin
from host_sim.report.comparison import ComparedRun
from host_sim.report.palette import COVERED, PALETTE
from host_sim.report.picture import Picture
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.report.settings_used import calibration_used, settings_used
from host_sim.report.timeline import timeline
from host_sim.report.words import Teller, percent, remarks
from host_sim.runs.passes import EDGE_M
from host_sim.runs.record import RunRecord
from host_sim.runs.truth import true_run

HERE = Path(__file__).resolve().parent
CSS = HERE / "page.css"

Charts = dict[str, list[str]]  # SVG elements, by the place where they stand
Field = tuple[list[str], list[tuple[str, str]]]  # of the map: its figures, and its colours in words


def render(
    record: RunRecord, figures: dict[str, Any], us: bool, tell: Progress = lambda share: None,
    against: ComparedRun | None = None, name: str = "this run",
    chart: Callable[[Picture, dict[str, Any]], Charts] | None = None,
) -> str:
    """The report of a run as HTML, and of another beside it where one is given.

    figures: see summary.py; us selects US customary units; tell is told the share done; name
    is what the run is called beside the other. `chart` draws in matplotlib's place where there
    is none; then nothing can stand beside it.
    """
    about = record.about
    measured = bool(about.get("measured"))
    teller = Teller(figures, us, measured)
    picture = _picture(record, us)
    field: Field = ([], [])
    if chart:
        charts = chart(picture, figures)
    else:
        beside = (_picture(against.record, us), (name, against.name)) if against else None
        charts, field = _drawn(picture, figures, beside, tell)
    return environment().get_template("page.html.j2").render(
        about=about,
        measured=measured,
        basis=basis_of(about),
        origin=origin(about, teller),
        figures=figures,
        tell=teller,
        percent=percent,
        edge_m=EDGE_M,
        story=teller.story(),
        remarks=remarks(about) + teller.failing_sections(),
        charts=charts,
        field_figures=field[0],
        covered_key=field[1],
        timeline=timeline(record, teller),
        classes=[(colour, words) for _, colour, words in RATE_CLASSES],
        palette=PALETTE,
        interval_s=float(np.median(np.diff(record["time_s"]))) if len(record) > 1 else 0.0,
        calibration=calibration_used(about["settings"], us),
        settings=list(settings_used(about["settings"], us)),
        against=against and _compared(ComparedRun(name, record, figures), against, us),
        css=CSS.read_text(encoding="utf-8"),
    )


def _drawn(picture: Picture, figures: dict[str, Any],
           beside: tuple[Picture, tuple[str, str]] | None, tell: Progress
           ) -> tuple[Charts, Field]:
    """Everything drawn by matplotlib, which is loaded only here: it takes a second."""
    from host_sim.maps.field_map import field_map_of, figures_text
    from host_sim.report.charts import compared_charts, drawn, field_charts, own_charts

    work = own_charts(picture, figures)
    field: Field = ([], [])
    if picture.record.has_place:
        field_map = field_map_of(picture.record, picture.us)
        work += field_charts(field_map)
        field = (figures_text(field_map, picture.us), list(COVERED))
    if beside:
        work += compared_charts((picture, beside[0]), beside[1])
    return drawn(work, tell), field


def _picture(record: RunRecord, us: bool) -> Picture:
    return Picture(record, true_run(record, record.about["section_width_m"]), us)


def environment() -> Environment:
    """What the pages of this folder are made with."""
    made = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True)
    made.filters["unbroken"] = lambda text: text.replace(" %", "\u00a0%")
    return made


def _compared(ours: ComparedRun, theirs: ComparedRun, us: bool) -> dict[str, Any]:
    return {
        "names": (ours.name, theirs.name),
        "title": theirs.record.about["title"],
        "origin": origin(theirs.record.about, Teller(theirs.figures, us)),
        "remarks": remarks(theirs.record.about),
        "verdict": comparison.verdict(ours, theirs),
        "figures": comparison.figure_rows(ours, theirs, us),
        "settings": comparison.setting_rows(ours, theirs, us),
        "facts": comparison.fact_rows(ours, theirs),
    }
