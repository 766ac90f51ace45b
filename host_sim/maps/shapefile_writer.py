"""Swaths as a shapefile, by pyshp: .shp, .shx, .dbf and .prj (WGS 84)."""

from __future__ import annotations

import io

import shapefile

from host_sim.maps.geojson import properties
from host_sim.maps.swaths import Swaths, ring_degrees

WGS84 = ('GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],'
         'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]')
# column, which has at most ten letters, and its decimals
FIELDS = {"section": 0, "start_s": 2, "end_s": 2, "area_m2": 4, "volume_l": 6, "after_l": 6,
          "rate_l_ha": 3, "wanted_l_ha": 3}


def to_shapefile(swaths: Swaths) -> dict[str, bytes]:
    """The files by their extension. Rings run clockwise there, as that format wants it."""
    files = {name: io.BytesIO() for name in ("shp", "shx", "dbf")}
    with shapefile.Writer(**files, shapeType=shapefile.POLYGON) as writer:
        for name, decimals in FIELDS.items():
            writer.field(name[:10], "N", size=18, decimal=decimals)
        for piece in swaths.pieces:
            if len(piece.ring_m):
                latitudes, longitudes = ring_degrees(swaths.origin, piece.ring_m)
                ring = list(zip(longitudes.tolist(), latitudes.tolist(), strict=True))
                writer.poly([[ring[0], *ring[::-1]]])
            else:
                writer.null()
            said = properties(piece)
            writer.record(*(said[name] for name in FIELDS))
    return {name: file.getvalue() for name, file in files.items()} | {"prj": WGS84.encode()}
