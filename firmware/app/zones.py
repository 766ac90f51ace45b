"""Zones with rates: which rate belongs to the ground where the outlets are about to be.

The file zones.bin is made by `python -m host_sim zones`: a grid of cells of half a byte, so that a
place is looked up in one step, and the rate of each zone. It is loaded where the setting
position_use asks for the position and the file is there. Where another zone begins its rate is set,
as by hand at the machine, and never beyond the highest; where there is none, and where the position
is not known, the rate stays as it is. A rate that is set by hand holds until the next zone begins.

    "ZONE", version, zones, cell_mm, columns, rows, origin latitude and longitude in 1e-4 degrees,
    west_mm and south_mm of the grid, a rate in mL/ha for each zone, cells from the south-west
    eastwards, two in a byte, low half first, 0 for no zone; CRC-16 of all before
"""

import struct

from app.headings import sine_q14
from app.link_frame import crc16
from app.plane import LATITUDE_MAX_E4, Plane
from app.position import UNKNOWN
from app.units_text import with_unit
from rate_control.ranges import out_of_range
from rate_control.settings import LOW, row

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.position import Position

MAGIC = b"ZONE"
VERSION = 1
HEAD = "<4sBBHHHiiii"
HEAD_BYTES = 28
ZONES_MAX = 15
CELL_MIN_MM = 100
SIZE_MAX = 16384
POLL_MS = 100
NOT_ZONES = "zones: %s: not used"


def fit(application: "Application", data: bytes) -> None:
    """Give an application with a position its zones, or a note that says why there are none."""
    problem = problem_of(data)
    highest = application.controller.settings.highest_rate_ml_ha
    if not problem and max(rates_of(data)) > highest:
        problem = "a rate is above the highest"
    position = application.position
    if problem or position is None:
        application.notes.append(NOT_ZONES % problem)
        return
    zones = Zones(application, position, data)
    position.plane = zones.plane
    application.jobs.add("zones", POLL_MS, zones.poll)
    us = application.controller.settings.us_units
    rates = rates_of(data)
    application.notes.append("zones: %s to %s" % (
        with_unit("rate_ml_ha", min(rates), us), with_unit("rate_ml_ha", max(rates), us)))


def rates_of(data: bytes) -> tuple:
    """Return the rates of a sound file, in mL/ha, from the first zone on."""
    return struct.unpack_from("<%dI" % data[5], data, HEAD_BYTES)


def problem_of(data: bytes) -> str:
    """Return what is wrong with a file of zones, "" for nothing."""
    if len(data) < HEAD_BYTES + 2 or data[:4] != MAGIC:
        return "no file of zones"
    if len(data) > SIZE_MAX:
        return "too large"
    _, version, count, cell_mm, columns, rows, latitude, longitude, _, _ = struct.unpack_from(
        HEAD, data)
    if version != VERSION:
        return "of another version"
    if crc16(data, len(data) - 2) != struct.unpack_from("<H", data, len(data) - 2)[0]:
        return "damaged"
    size = HEAD_BYTES + 4 * count + (columns * rows + 1) // 2 + 2
    if not 1 <= count <= ZONES_MAX or cell_mm < CELL_MIN_MM or size != len(data):
        return "not whole"
    if abs(latitude) > LATITUDE_MAX_E4 or abs(longitude) > 1800000:
        return "nowhere on earth"
    entry = row("rate_ml_ha")
    for rate in rates_of(data):
        if out_of_range(rate, entry[LOW], entry[LOW + 1]):
            return "a rate is out of range"
    return ""


class Zones:
    """A sound file of zones. plane is the one that its places are on."""

    def __init__(self, application: "Application", position: "Position", data: bytes) -> None:
        head = struct.unpack_from(HEAD, data)
        self._cell_mm, self._columns, self._rows, latitude_e4, longitude_e4 = head[3:8]
        self._west_mm, self._south_mm = head[8:]
        self.plane = Plane(latitude_e4, longitude_e4)
        self._application = application
        self._position = position
        self._rates = rates_of(data)
        self._cells = memoryview(data)[HEAD_BYTES + 4 * len(self._rates) : -2]
        self._zone = 0

    def at(self, east_mm: int, north_mm: int) -> int:
        """Return the zone at a place, from 1 on, or 0 where there is none."""
        column = (east_mm - self._west_mm) // self._cell_mm
        line = (north_mm - self._south_mm) // self._cell_mm
        if not 0 <= column < self._columns or not 0 <= line < self._rows:
            return 0
        cell = line * self._columns + column
        zone = self._cells[cell >> 1] >> ((cell & 1) << 2) & 15
        return zone if zone <= len(self._rates) else 0

    def poll(self) -> None:
        """Set the rate where another zone begins, so early that the flow has it in time."""
        application = self._application
        position = self._position
        if not position.quality or position.plane is not self.plane:
            return
        east, north = position.east_mm, position.north_mm
        if position.heading_cdeg != UNKNOWN:
            settings = application.controller.settings
            lead_ms = settings.loop_delay_ms + settings.loop_lag_ms
            ahead_mm = application.controller.measured.speed_mm_s * lead_ms // 1000
            east += ahead_mm * sine_q14(position.heading_cdeg) >> 14
            north += ahead_mm * sine_q14(position.heading_cdeg + 9000) >> 14
        zone = self.at(east, north)
        if zone and zone != self._zone:
            problem = application.set_rate(self._rates[zone - 1])
            if problem and application.failure != problem:
                application.failure = problem
        self._zone = zone or self._zone
