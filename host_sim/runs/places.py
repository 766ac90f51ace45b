"""Where the controller took its outlets to be, in metres from one origin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from app.position import NAMES
from host_sim.common.earth import Origin
from host_sim.runs.record import Column

E4 = 1e4


def knows_place(columns: Mapping[str, Column]) -> bool:
    """Whether the controller followed its position, and had a fix at some time."""
    return all(name in columns for name in NAMES) and bool(_laid(columns).any())


def _laid(columns: Mapping[str, Column]) -> Any:
    """Rows in which there is a plane: before the first fix its origin is at 0, 0."""
    return (columns["origin_lat_e4"] != 0) | (columns["origin_lon_e4"] != 0)


def first_origin(columns: Mapping[str, Column]) -> Origin:
    """The origin of the first plane of a run that knows its place."""
    first = int(np.argmax(_laid(columns)))
    return _origin(columns["origin_lat_e4"][first], columns["origin_lon_e4"][first])


def _origin(latitude_e4: float, longitude_e4: float) -> Origin:
    return Origin(float(latitude_e4) / E4, float(longitude_e4) / E4)


def believed_m(columns: Mapping[str, Column], origin: Origin) -> tuple[Column, Column]:
    """East and north of the outlets from an origin; before the first fix, where that was."""
    laid = _laid(columns)
    east, north = columns["east_mm"] / 1e3, columns["north_mm"] / 1e3
    planes = np.stack([columns["origin_lat_e4"], columns["origin_lon_e4"]], axis=1)
    for plane in np.unique(planes[laid], axis=0):
        rows = laid & (planes == plane).all(axis=1)
        place = _origin(*plane)
        if place != origin:
            east[rows], north[rows] = origin.to_metres(*place.to_degrees(east[rows], north[rows]))
    first = int(np.argmax(laid))
    east[:first], north[:first] = east[first], north[first]
    return east, north


def measured_place(columns: Mapping[str, Column]) -> dict[str, Column]:
    """The columns of the place of a measured run, none where it is not known."""
    if not knows_place(columns):
        return {}
    east, north = believed_m(columns, first_origin(columns))
    return {"true_east_m": east, "true_north_m": north,
            "true_heading_deg": np.maximum(columns["heading_cdeg"], 0.0) / 100}


def place_fact(columns: Mapping[str, Column]) -> dict[str, Any]:
    """The fact `place` of a measured run, none where it is not known."""
    return {"place": asdict(first_origin(columns))} if knows_place(columns) else {}
