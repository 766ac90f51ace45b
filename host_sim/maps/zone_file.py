"""Zones with rates: read from GeoJSON, and made into the file that a board looks them up in.

Each feature is a Polygon or MultiPolygon with its rate: `rate` as a text with its unit ("80 L/ha"),
or a number under `rate_l_ha` or `rate_gal_ac`. A later feature lies over an earlier one. The grid's
cells are as small as the file's size permits; a cell belongs to the zone that its middle lies in.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.link_frame import crc16
from app.zones import CELL_MIN_MM, HEAD, MAGIC, VERSION, ZONES_MAX, problem_of
from host_sim.common import units
from host_sim.common.earth import Origin
from host_sim.common.errors import InputError
from host_sim.common.reading import MIB, read_json
from host_sim.maps.covered import inside
from host_sim.runs.record import Column
from rate_control.settings import HIGH, LOW, row

LARGEST_BYTES = 16 * MIB
CORNERS_MAX = 100_000
REACH_M = 5000.0  # of a field from its middle
LATITUDE_MAX_DEG = 80.0
RATES = {"rate_l_ha": ("L/ha", False), "rate_gal_ac": ("gal/ac", True)}
ML_HA_PER_M = 1e10
M2_HA = 1e4

Cells = NDArray[np.uint8]


@dataclass(frozen=True)
class Zone:
    """One feature: its rate, and its rings in degrees, longitude first; holes are rings as well."""

    rate_ml_ha: int
    rings: list[Column]


@dataclass(frozen=True)
class ZoneGrid:
    """The grid: rows from the south, 0 where there is no zone, else the number of a rate from 1."""

    origin_e4: tuple[int, int]
    west_mm: int
    south_mm: int
    cell_mm: int
    rates_ml_ha: list[int]
    cells: Cells

    def area_ha(self, number: int) -> float:
        """Ground with one of the rates."""
        return float((self.cells == number).sum()) * (self.cell_mm / 1e3) ** 2 / M2_HA


def read_zones(path: Path) -> list[Zone]:
    """The zones of a GeoJSON file. Raises InputError with a line for everything that is wrong."""
    data = read_json(path, LARGEST_BYTES)
    features = data.get("features") if isinstance(data, dict) else None
    if not isinstance(features, list) or data.get("type") != "FeatureCollection":
        raise InputError(f"{path}: must be a GeoJSON FeatureCollection")
    problems: list[str] = []
    zones = []
    for index, feature in enumerate(features):
        try:
            zones.append(_zone(feature))
        except ValueError as error:
            problems.append(f"{path}: features.{index}.{error}")
    if not zones and not problems:
        problems.append(f"{path}: features: there are none")
    if sum(len(ring) for zone in zones for ring in zone.rings) > CORNERS_MAX:
        problems.append(f"{path}: features: have more than {CORNERS_MAX} corners")
    if problems:
        raise InputError(*problems)
    return zones


def _zone(feature: Any) -> Zone:
    """One feature. Raises ValueError."""
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        raise ValueError("type: must be Feature")
    geometry, properties = feature.get("geometry"), feature.get("properties")
    if not isinstance(properties, dict):
        raise ValueError("properties: are missing")
    rate = _rate(properties)
    geometry = geometry if isinstance(geometry, dict) else {}
    kind = geometry.get("type")
    if kind not in ("Polygon", "MultiPolygon"):
        raise ValueError("geometry.type: must be Polygon or MultiPolygon")
    shapes = geometry.get("coordinates")
    shapes = [shapes] if kind == "Polygon" else shapes
    if not isinstance(shapes, list) or not shapes or not all(
            isinstance(shape, list) and shape for shape in shapes):
        raise ValueError("geometry.coordinates: must be lists of rings")
    return Zone(rate, [_ring(ring) for shape in shapes for ring in shape])


def _ring(ring: Any) -> Column:
    try:
        corners = np.array([[float(corner[0]), float(corner[1])] for corner in ring])
    except (TypeError, ValueError, IndexError, KeyError):
        raise ValueError("geometry.coordinates: a ring must be a list of [longitude, latitude]"
                         ) from None
    if len(corners) < 4 or (corners[0] != corners[-1]).any():
        raise ValueError("geometry.coordinates: a ring must have four places or more, the last as "
                         "the first")
    if not (np.abs(corners) <= (180.0, LATITUDE_MAX_DEG)).all():
        raise ValueError(f"geometry.coordinates: must be within 180 degrees of longitude and "
                         f"{LATITUDE_MAX_DEG:g} of latitude")
    return corners[:-1]


def _rate(properties: dict[str, Any]) -> int:
    """In mL/ha."""
    given = [name for name in ("rate", *RATES) if name in properties]
    if len(given) != 1:
        raise ValueError(f"properties: need one of rate, {' and '.join(RATES)}")
    name, value = given[0], properties[given[0]]
    try:
        if name == "rate":
            if not isinstance(value, str):
                raise ValueError("must be a text with its unit, like '80 L/ha'")
            depth_m = units.parse_with_unit("rate_ml_ha", value)
        else:
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError("must be a number")
            unit, us = RATES[name]
            depth_m = units.parse("rate_ml_ha", f"{value:.9f} {unit}", us)
    except ValueError as error:
        raise ValueError(f"properties.{name}: {error}") from None
    entry = row("rate_ml_ha")
    rate_ml_ha = depth_m * ML_HA_PER_M
    if not entry[LOW] <= rate_ml_ha <= entry[HIGH]:
        low, high = (units.text("rate_ml_ha", limit / ML_HA_PER_M, False)
                     for limit in (entry[LOW], entry[HIGH]))
        raise ValueError(f"properties.{name}: must be {low} to {high}")
    return round(rate_ml_ha)


def grid_of(zones: list[Zone], size_bytes: int) -> ZoneGrid:
    """The finest grid whose file has at most so many bytes. Raises InputError."""
    rates = sorted({zone.rate_ml_ha for zone in zones})
    if len(rates) > ZONES_MAX:
        raise InputError(f"there are {len(rates)} different rates, a board holds {ZONES_MAX}")
    corners = np.concatenate([ring for zone in zones for ring in zone.rings])
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    origin_e4 = (round(middle[1] * 1e4), round(middle[0] * 1e4))
    origin = Origin(origin_e4[0] / 1e4, origin_e4[1] / 1e4)
    if np.ptp(corners[:, 0]) > 1.0:
        raise InputError("the zones lie more than a degree of longitude apart")
    placed = [(rates.index(zone.rate_ml_ha) + 1,
               [np.column_stack(origin.to_metres(ring[:, 1], ring[:, 0])) for ring in zone.rings])
              for zone in zones]
    all_m = np.concatenate([ring for _, rings in placed for ring in rings])
    if np.abs(all_m).max() > REACH_M:
        raise InputError(f"the zones reach further than {REACH_M / 1e3:g} km from their middle")
    west, south = np.floor(all_m.min(axis=0) * 1e3).astype(int)
    width_mm, height_mm = np.ceil(np.ptp(all_m, axis=0) * 1e3).astype(int) + 2
    room = 2 * (size_bytes - struct.calcsize(HEAD) - 4 * len(rates) - 2)
    cell_mm = _cell_mm(int(width_mm), int(height_mm), room)
    columns, rows = -(-int(width_mm) // cell_mm), -(-int(height_mm) // cell_mm)
    cells: Cells = np.zeros((rows, columns), dtype=np.uint8)
    x = (west + (np.arange(columns) + 0.5) * cell_mm) / 1e3
    y = ((south + (np.arange(rows) + 0.5) * cell_mm) / 1e3)[:, None]
    for number, rings in placed:
        odd = np.zeros(cells.shape, dtype=bool)
        for ring in rings:
            odd ^= inside(ring, x, y)
        cells[odd] = number
    return ZoneGrid(origin_e4, int(west), int(south), cell_mm, rates, cells)


def _cell_mm(width_mm: int, height_mm: int, cells: int) -> int:
    """The smallest side of a cell, in whole decimetres, with which so many suffice."""
    side = max(CELL_MIN_MM, int(math.sqrt(width_mm * height_mm / cells)) // 100 * 100)
    while -(-width_mm // side) * -(-height_mm // side) > cells:
        side += 100
    return side


def zone_bytes(grid: ZoneGrid) -> bytes:
    """The file for a board."""
    rows, columns = grid.cells.shape
    flat = np.append(grid.cells.ravel(), np.uint8(0))[: (rows * columns + 1) // 2 * 2]
    packed = (flat[::2] | flat[1::2] << 4).astype(np.uint8).tobytes()
    data = struct.pack(HEAD, MAGIC, VERSION, len(grid.rates_ml_ha), grid.cell_mm, columns, rows,
                       *grid.origin_e4, grid.west_mm, grid.south_mm)
    data += struct.pack(f"<{len(grid.rates_ml_ha)}I", *grid.rates_ml_ha) + packed
    data += struct.pack("<H", crc16(data, len(data)))
    problem = problem_of(data)
    assert not problem, problem
    return data


