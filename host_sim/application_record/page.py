"""An application record as a page to print, and as a table for a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from host_sim.application_record.entries import COUNTED, JOB, SETTINGS, WORKED
from host_sim.application_record.profiles import PREVAIL
from host_sim.application_record.sheet import RecordSheet
from host_sim.application_record.work_done import WorkDone
from host_sim.common.csv_cells import table
from host_sim.report.palette import PALETTE
from host_sim.report.picture import Picture
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.report.ribbon import paint_ribbon
from host_sim.report.svg import Size, draw
from host_sim.runs.truth import true_run

HERE = Path(__file__).resolve().parent
RIBBONS = (Size("wide", 7.4, 7.0, 740), Size("narrow", 3.6, 7.5, 320))
SAID = (JOB, COUNTED, WORKED, SETTINGS)  # sources that the page names once for all
Row = tuple[str, str, str, str, str, str, str]
HEADER = ("group", "element", "value", "unit", "in_brackets", "asked_for_by", "source")


def to_html(sheet: RecordSheet, work: WorkDone, us: bool, raw: list[tuple[str, str]]) -> str:
    """The page. `raw` are name and SHA-256 of each file of raw data kept beside it."""
    environment = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True)
    environment.filters["mark"] = sheet.profile.mark
    return environment.get_template("page.html.j2").render(
        sheet=sheet,
        ribbons=_ribbons(work, us),
        said=SAID,
        classes=[(colour, words) for _, colour, words in RATE_CLASSES],
        palette=PALETTE,
        prevail=PREVAIL,
        sources=sheet.profile.sources(sheet.kinds),
        raw=raw,
        css=(HERE / "page.css").read_text(encoding="utf-8"),
    )


def _ribbons(work: WorkDone, us: bool) -> list[str]:
    """The rate along the way, where it is known."""
    measured = work.measured
    if measured is None:
        return []
    picture = Picture(measured, true_run(measured, measured.about["section_width_m"]), us)
    height_in = 0.45 + 0.16 * measured.section_count
    return [draw(partial(paint_ribbon, picture=picture, size=size), size, height_in,
                 "Rate in each section along the way") for size in RIBBONS]


def to_csv(sheet: RecordSheet) -> str:
    """A line for each entry and each figure of a section and a pass; missing ones have no value."""
    return table([HEADER, *_rows(sheet)])


def _rows(sheet: RecordSheet) -> Iterator[Row]:
    for verdict in sheet.doses:
        yield "Dose", verdict.word, verdict.numbers, "", "", "", WORKED
    if sheet.simulated:
        yield "Remarks", "simulation", "yes: nothing was applied", "", "", "", ""
    for entry in sheet.entries:
        yield (entry.group, entry.label, entry.value, entry.unit, entry.also,
               "; ".join(entry.rules), entry.source)
    for word, (header, *rows) in (("Section", sheet.sections),
                                  (sheet.piece.capitalize(), sheet.pieces)):
        for number, *cells in rows:
            for label, cell in zip(header[1:], cells, strict=True):
                value, _, unit = cell.partition(" ")
                yield f"{word} {number}", label, value, unit, "", "", ""
    for remark in sheet.remarks:
        yield "Remarks", "remark", remark, "", "", "", ""
