"""All charts of a report as SVG, those that need the width in two sizes."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from host_sim.common.progress import Progress
from host_sim.maps.drawing import FieldMap
from host_sim.report.compare_charts import paint_errors, paint_spreads
from host_sim.report.detail_charts import paint_histogram, paint_zoom
from host_sim.report.page import Charts
from host_sim.report.picture import Picture
from host_sim.report.svg import NARROW, WIDE, Size, draw
from host_sim.report.way_chart import paint_way

ZOOMS = 3
WAY_HEIGHT_IN = 6.4
ZOOM_SIZE = Size("zoom", 3.1, 8.0, 400)

Work = list[tuple[str, Callable[[], str]]]  # which chart, and what draws it


def own_charts(picture: Picture, figures: dict[str, Any]) -> Work:
    """Way, histogram and zooms of a run."""
    way = "Rate, speed, flow and duty along the way"
    spread = "Distance by rate error"
    way_in = WAY_HEIGHT_IN + 0.28 * picture.record.section_count
    work: Work = []
    for size in (WIDE, NARROW):
        paint = partial(paint_way, picture=picture, size=size)
        work.append(("way", partial(draw, paint, size, way_in, way)))
        if picture.truth.judged.any():
            paint = partial(paint_histogram, picture=picture)
            work.append(("histogram", partial(draw, paint, size, 2.6, spread)))
    work += [("zooms", partial(_zoom, picture, stretch))
             for stretch in figures["worst_stretches"][:ZOOMS]]
    return work


def field_charts(field_map: FieldMap) -> Work:
    """The map of the field, where it is known where the run was."""
    if not field_map.placed:
        return []
    return [("field", partial(draw, partial(field_map.paint, size=size), size,
                              field_map.height_in(size), "Map of the field"))
            for size in (WIDE, NARROW)]


def _zoom(picture: Picture, stretch: dict[str, Any]) -> str:
    start_s, end_s = stretch["start_s"], stretch["end_s"]
    paint = partial(paint_zoom, picture=picture, start_s=start_s, end_s=end_s)
    return draw(paint, ZOOM_SIZE, 2.3, f"Rate and speed from {start_s:.0f} s to {end_s:.0f} s")


def compared_charts(pictures: tuple[Picture, Picture], names: tuple[str, str]) -> Work:
    """Two runs over each other; none where one of them has nothing to compare."""
    if not all(picture.truth.judged.any() for picture in pictures):
        return []
    work: Work = []
    for size in (WIDE, NARROW):
        errors = partial(paint_errors, pictures=pictures, names=names, size=size)
        spreads = partial(paint_spreads, pictures=pictures)
        work.append(("errors", partial(draw, errors, size, 2.4, "Rate errors along the way")))
        work.append(("spreads", partial(draw, spreads, size, 2.6, "Distance by rate error")))
    return work


def drawn(work: Work, tell: Progress) -> Charts:
    """Draw everything; tell is told the share done."""
    charts: Charts = {name: [] for name in (
        "way", "field", "histogram", "zooms", "errors", "spreads")}
    for done, (name, make) in enumerate(work):
        tell(done / len(work))
        charts[name].append(make())
    return charts
