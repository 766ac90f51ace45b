"""Everything that `map` leaves of one run."""

from __future__ import annotations

from datetime import datetime

from host_sim.maps.drawing import FieldMap
from host_sim.maps.field_map import field_map_of
from host_sim.maps.geojson import to_geojson
from host_sim.maps.shapefile_writer import to_shapefile
from host_sim.maps.taskdata import MADE_UP, to_taskdata
from host_sim.report.palette import PALETTE
from host_sim.report.svg import WIDE, draw
from host_sim.runs.measured import as_measured
from host_sim.runs.record import RunRecord


def map_files(record: RunRecord, us: bool, belief: bool = False
              ) -> tuple[dict[str, bytes], FieldMap]:
    """Files by name, and the map. Raises InputError where the run does not know its place."""
    if belief:
        record = as_measured(record)
    field_map = field_map_of(record, us)
    swaths = field_map.swaths[0][1]
    title = record.about["title"]
    started = record.about.get("started")
    began = datetime.fromisoformat(started[0]) if started else MADE_UP
    files = {"swaths.geojson": to_geojson(swaths, title).encode()}
    files |= {f"TASKDATA/{name}": data
              for name, data in to_taskdata(swaths, title, began).items()}
    files |= {f"swaths.{name}": data for name, data in to_shapefile(swaths).items()}
    if field_map.placed:
        files["map.svg"] = drawing(field_map)
    return files, field_map


def drawing(field_map: FieldMap) -> bytes:
    """The map as a file of its own, in light colours."""
    text = draw(lambda figure: field_map.paint(figure, WIDE), WIDE, field_map.height_in(WIDE),
                "Map of the field")
    for name, (light, _) in PALETTE.items():
        text = text.replace(f"var(--{name})", light)
    return text.replace("var(--font)", "sans-serif").encode()
