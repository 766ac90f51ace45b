"""Swaths as GeoJSON (RFC 7946): longitude before latitude on WGS 84, rings counter-clockwise."""

from __future__ import annotations

import json
from typing import Any

from host_sim.maps.swaths import Piece, Swaths, ring_degrees

DIGITS = 8  # of a degree: a millimetre


def to_geojson(swaths: Swaths, title: str) -> str:
    """The text of a FeatureCollection, a feature for each piece, with its bounding box.

    A piece whose place nobody knows has no geometry. Widths, rates and volumes are metric.
    """
    features = [_feature(swaths, piece) for piece in swaths.pieces]
    corners = [corner for feature in features if feature["geometry"]
               for corner in feature["geometry"]["coordinates"][0]]
    collection: dict[str, Any] = {"type": "FeatureCollection", "title": title}
    if corners:
        longitudes, latitudes = zip(*corners, strict=True)
        collection["bbox"] = [min(longitudes), min(latitudes), max(longitudes), max(latitudes)]
    lines = ",\n".join(json.dumps(feature) for feature in features)
    head = json.dumps(collection)[:-1]
    return f'{head}, "features": [\n{lines}\n]}}\n'


def _feature(swaths: Swaths, piece: Piece) -> dict[str, Any]:
    geometry = None
    if len(piece.ring_m):
        latitudes, longitudes = ring_degrees(swaths.origin, piece.ring_m)
        ring = [[round(float(longitude), DIGITS), round(float(latitude), DIGITS)]
                for latitude, longitude in zip(latitudes, longitudes, strict=True)]
        geometry = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    return {"type": "Feature", "geometry": geometry, "properties": properties(piece)}


def properties(piece: Piece) -> dict[str, float]:
    """What a piece says besides where it is."""
    return {
        "section": piece.section + 1,
        "start_s": round(piece.start_s, 2),
        "end_s": round(piece.end_s, 2),
        "area_m2": round(piece.area_ha * 1e4, 4),
        "volume_l": round(piece.volume_l, 6),
        "after_l": round(piece.after_l, 6),
        "rate_l_ha": round(piece.rate_l_ha, 3),
        "wanted_l_ha": round(piece.wanted_l_ha, 3),
    }
