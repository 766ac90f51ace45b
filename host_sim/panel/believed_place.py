"""Where a controller takes its outlets to be, out of its telemetry, in metres from one origin.

The controller reckons from the origin of its own plane, to ten thousandths of a degree, and lays
another where it comes too far from it. What lies between two origins is reckoned here on the
ellipsoid, to first order: a plane reaches a few kilometres, and there that is good for a map.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from host_sim.common.earth import AXIS_M, ECCENTRICITY2, Origin
from host_sim.panel.swath_slabs import Place

E4 = 1e4


class BelievedPlace:
    """Reads one controller; without an origin of the field it is the first one of its planes."""

    def __init__(self, origin: Origin | None = None) -> None:
        self._origin = origin

    def of(self, row: Mapping[str, int]) -> Place | None:
        """The place in a row of telemetry; None without a fix, or without a heading."""
        if not row.get("fix_quality") or row["heading_cdeg"] < 0:
            return None
        plane = Origin(row["origin_lat_e4"] / E4, row["origin_lon_e4"] / E4)
        if self._origin is None:
            self._origin = plane
        east_m, north_m = offset_m(self._origin, plane)
        return (east_m + row["east_mm"] / 1e3, north_m + row["north_mm"] / 1e3,
                row["heading_cdeg"] / 100)


def offset_m(origin: Origin, other: Origin) -> tuple[float, float]:
    """How far another origin lies east and north of one, by the radii of curvature there."""
    latitude = math.radians(origin.latitude_deg)
    flat = 1 - ECCENTRICITY2 * math.sin(latitude) ** 2
    across_m = AXIS_M / math.sqrt(flat)
    along_m = across_m * (1 - ECCENTRICITY2) / flat
    east = math.radians((other.longitude_deg - origin.longitude_deg + 180.0) % 360.0 - 180.0)
    north = math.radians(other.latitude_deg - origin.latitude_deg)
    return east * across_m * math.cos(latitude), north * along_m
