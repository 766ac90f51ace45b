"""Places on the WGS 84 ellipsoid and metres east and north of an origin, both ways.

It is the tangent plane at the origin, by way of earth-centred coordinates. On the first kilometre
it agrees with the transverse Mercator projection about the origin within a millimetre, and with the
plane of the firmware (firmware/app/plane.py), whose reckoning it shares nothing with. The formulae:
NIMA TR8350.2, chapter 4; back to latitude by iteration, which converges at once near the ground.

numpy is loaded where it is reckoned with: a twin without a receiver runs where there is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

AXIS_M = 6378137.0
FLATTENING = 1 / 298.257223563
ECCENTRICITY2 = FLATTENING * (2 - FLATTENING)
ROUNDS = 5


@dataclass(frozen=True)
class Origin:
    """A place from which metres are reckoned."""

    latitude_deg: float
    longitude_deg: float

    @cached_property
    def _axes(self) -> Numbers:
        """Rows: the directions east, north and up, earth-centred."""
        import numpy as np

        lat, lon = math.radians(self.latitude_deg), math.radians(self.longitude_deg)
        return np.array([
            [-math.sin(lon), math.cos(lon), 0.0],
            [-math.sin(lat) * math.cos(lon), -math.sin(lat) * math.sin(lon), math.cos(lat)],
            [math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)]])

    @cached_property
    def _centre(self) -> Numbers:
        import numpy as np

        return _earth_centred(np.array([self.latitude_deg]), np.array([self.longitude_deg]))[0]

    def to_degrees(self, east_m: Numbers | float, north_m: Numbers | float
                   ) -> tuple[Numbers, Numbers]:
        """Latitude and longitude of places, in degrees."""
        import numpy as np

        flat = np.stack([east_m, north_m], axis=-1)
        x, y, z = np.moveaxis(self._centre + flat @ self._axes[:2], -1, 0)
        level = np.hypot(x, y)
        lat = np.arctan2(z, level * (1 - ECCENTRICITY2))
        for _ in range(ROUNDS):
            radius = AXIS_M / np.sqrt(1 - ECCENTRICITY2 * np.sin(lat) ** 2)
            lat = np.arctan2(z + ECCENTRICITY2 * radius * np.sin(lat), level)
        return np.degrees(lat), np.degrees(np.arctan2(y, x))

    def to_metres(self, latitude_deg: Numbers, longitude_deg: Numbers) -> tuple[Numbers, Numbers]:
        """Metres east and north of the origin, of places in degrees."""
        import numpy as np

        away = _earth_centred(latitude_deg, longitude_deg) - self._centre
        east, north = np.moveaxis(away @ self._axes[:2].T, -1, 0)
        return east, north


def _earth_centred(latitude_deg: Numbers, longitude_deg: Numbers) -> Numbers:
    import numpy as np

    lat, lon = np.radians(latitude_deg), np.radians(longitude_deg)
    radius = AXIS_M / np.sqrt(1 - ECCENTRICITY2 * np.sin(lat) ** 2)
    return np.stack([radius * np.cos(lat) * np.cos(lon), radius * np.cos(lat) * np.sin(lon),
                     radius * (1 - ECCENTRICITY2) * np.sin(lat)], axis=-1)
