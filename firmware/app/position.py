"""Where the outlets are: fixes of the receiver, and between them the way by wheel and heading.

All positions are millimetres east and north of the origin of a local plane (plane.py), which is
laid at the first fix, and anew where a fix is beyond its reach. The position is that of the middle
of the outlets. It is the last fix plus the way travelled since that fix was true, which is
antenna_lag_ms before it came. The way is that of the speed source; its direction is the course over
ground of the receiver, turning on as it turned between its last courses.

This module is loaded where the setting position_use asks for it. tick() runs in the control tick,
follow() between ticks; what follow() finds waits until the next tick takes it as a whole.
"""

from app.headings import TURN_CDEG, sine_q14, turned
from app.nmea_position import NmeaPosition
from app.plane import LATITUDE_MAX_E4, Plane
from app.trace_more import widen
from rate_control.intmath import clamp, ticks_diff
from rate_control.trace import FIELDS
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any, Protocol

    from app.application import Application
    from rate_control.controller import Controller

    class Reader(Protocol):
        """Who reads what a receiver says; see NmeaPosition."""

        fixes: int
        quality: int
        latitude_deg: int
        latitude_e7: int
        longitude_deg: int
        longitude_e7: int
        courses: int
        course_cdeg: int

# What it adds to a line of the trace
NAMES = ("east_mm", "north_mm", "heading_cdeg", "fix_quality", "fix_age_ms",
         "origin_lat_e4", "origin_lon_e4")

UNKNOWN = -1
STALE_MS = 3000  # a fix that is older gives no quality any more
AGE_MAX_MS = 60000  # from then on the way is not followed either
PAST = 64  # ticks of the way that are kept: longer than the longest lag
WAY_MAX_MM = 60000  # in one tick; a pulse input that is broken shows more
TURN_FROM_MS, TURN_UNTIL_MS = 400, 2500  # courses so far apart tell how fast the machine turns
TURN_MIN_CDEG_S, TURN_MAX_CDEG_S = 150, 6000
SHARP_CDEG = 1000  # a course that is further off is taken as it is, a nearer one by half

_EAST = len(FIELDS)


def fit(application: "Application", _: object = None) -> None:
    """Give an application its position, before anything follows its trace."""
    application.position = position = Position(application)
    application.parts.append(position)
    widen(application.ring, NAMES)


class Position:
    """The position of the middle of the outlets.

    heading_cdeg is 0 to 35999 clockwise from north, or UNKNOWN. quality is 0 where there is no
    position to rely on, else that of the last fix, 1 to 5 as in GGA: 1 is without corrections.
    age_ms is how long ago the last fix was true. plane is None until the first fix.
    """

    def __init__(self, application: "Application") -> None:
        self.east_mm = 0
        self.north_mm = 0
        self.heading_cdeg = UNKNOWN
        self.quality = 0
        self.age_ms = AGE_MAX_MS
        self.plane: Plane | None = None
        self.reader: "Any" = NmeaPosition()  # of sentences, or another Reader
        self._application = application
        self._way_east = [0] * PAST
        self._way_north = [0] * PAST
        self._slot = 0
        self._east_rest = 0  # of a millimetre, in 1/16384
        self._north_rest = 0
        self._base_east = 0
        self._base_north = 0
        self._heading_20 = 0  # in twentieths of a hundredth of a degree, a tick of its rate
        self._turn_cdeg_s = 0
        self._turn_ms = 0
        self._tick_us = 0
        self._fixes = 0
        self._courses = 0
        self._course_cdeg = UNKNOWN
        self._course_us = 0
        self._found_east = 0
        self._found_north = 0
        self._found_quality = 0  # a fix waits for the tick
        self._found_heading = UNKNOWN

    def tick(self, controller: "Controller", line: list[int]) -> None:
        """Go on by a tick and write it into its line of the trace. It allocates nothing."""
        self._tick_us = line[0]
        self._turn()
        self._travel(controller.measured.distance_mm)
        if self._found_quality:
            self._base_east = self._found_east
            self._base_north = self._found_north
            self.quality = self._found_quality
            self._found_quality = 0
            self.age_ms = controller.settings.antenna_lag_ms
        elif self.age_ms < AGE_MAX_MS:
            self.age_ms += TICK_MS
        if self.age_ms > STALE_MS:
            self.quality = 0
        slot = self._slot
        self.east_mm = self._base_east + self._way_east[slot]
        self.north_mm = self._base_north + self._way_north[slot]
        self._tell(line)

    def _tell(self, line: list[int]) -> None:
        line[_EAST] = self.east_mm
        line[_EAST + 1] = self.north_mm
        line[_EAST + 2] = self.heading_cdeg
        line[_EAST + 3] = self.quality
        line[_EAST + 4] = self.age_ms
        plane = self.plane
        if plane is not None:
            line[_EAST + 5] = plane.latitude_e4
            line[_EAST + 6] = plane.longitude_e4

    def _turn(self) -> None:
        """Take a heading that was found, and turn on with it."""
        if self._found_heading != UNKNOWN:
            self._heading_20 = self._found_heading * 20
            self._found_heading = UNKNOWN
            self._turn_ms = 0
        elif self.heading_cdeg == UNKNOWN:
            return
        if self._turn_ms < TURN_UNTIL_MS:
            self._turn_ms += TICK_MS
            self._heading_20 = (self._heading_20 + self._turn_cdeg_s) % (20 * TURN_CDEG)
        self.heading_cdeg = self._heading_20 // 20

    def _travel(self, distance_mm: int) -> None:
        """Add a tick to the way, and keep where it led for a while."""
        before = self._slot
        slot = (before + 1) % PAST
        east = self._way_east[before]
        north = self._way_north[before]
        if distance_mm and self.heading_cdeg != UNKNOWN and self.age_ms < AGE_MAX_MS:
            distance_mm = min(distance_mm, WAY_MAX_MM)
            part = distance_mm * sine_q14(self.heading_cdeg) + self._east_rest
            east += part >> 14
            self._east_rest = part & 16383
            part = distance_mm * sine_q14(self.heading_cdeg + 9000) + self._north_rest
            north += part >> 14
            self._north_rest = part & 16383
        self._way_east[slot] = east
        self._way_north[slot] = north
        self._slot = slot

    def follow(self, now_us: int) -> None:
        """Take what the reader has found; between ticks."""
        reader = self.reader
        if reader.courses != self._courses:
            self._courses = reader.courses
            self._take_course(reader.course_cdeg, now_us)
        if reader.fixes != self._fixes:
            self._fixes = reader.fixes
            if reader.quality:
                self._take_fix(reader, now_us)

    def _take_course(self, course_cdeg: int, now_us: int) -> None:
        """Find out where the machine is heading now, and how fast it turns."""
        apart_ms = ticks_diff(now_us, self._course_us) // 1000
        if self._course_cdeg == UNKNOWN or not 0 <= apart_ms <= TURN_UNTIL_MS:
            rate = 0
        elif apart_ms < TURN_FROM_MS:
            rate = self._turn_cdeg_s
        else:
            rate = turned(course_cdeg, self._course_cdeg) * 1000 // apart_ms
            rate = clamp(rate, -TURN_MAX_CDEG_S, TURN_MAX_CDEG_S)
            if -TURN_MIN_CDEG_S < rate < TURN_MIN_CDEG_S:
                rate = 0
        if self._course_cdeg == UNKNOWN or not 0 <= apart_ms < TURN_FROM_MS:
            self._course_cdeg = course_cdeg
            self._course_us = now_us
        self._turn_cdeg_s = rate
        lag_ms = self._application.controller.settings.antenna_lag_ms
        heading = (course_cdeg + rate * lag_ms // 1000) % TURN_CDEG
        if self.heading_cdeg != UNKNOWN:
            off = turned(heading, self.heading_cdeg)
            if -SHARP_CDEG < off < SHARP_CDEG:
                heading = (self.heading_cdeg + off // 2) % TURN_CDEG
        self._found_heading = heading

    def _take_fix(self, reader: "Reader", now_us: int) -> None:
        """Find out where the outlets were when the antenna was where it says."""
        plane = self.plane
        if plane is None or not self._on(plane, reader):
            plane = self._lay(reader)
            if plane is None:
                return
        settings = self._application.controller.settings
        behind_ms = settings.antenna_lag_ms - ticks_diff(now_us, self._tick_us) // 1000
        steps = max(behind_ms, 0) // TICK_MS
        part_ms = max(behind_ms, 0) % TICK_MS
        slot = self._slot - steps  # below 0 a list counts from its end, as a ring does
        east, north = plane.east_mm, plane.north_mm
        if self.heading_cdeg != UNKNOWN:
            then = self.heading_cdeg - self._turn_cdeg_s * settings.antenna_lag_ms // 1000
            sine = sine_q14(then)
            cosine = sine_q14(then + 9000)
            antenna = settings.antenna_mm
            ahead = antenna[0] - antenna[1]
            right = antenna[2] - antenna[3]
            east -= (ahead * sine + right * cosine + 8192) >> 14
            north -= (ahead * cosine - right * sine + 8192) >> 14
        self._found_east = east - _between(self._way_east, slot, part_ms)
        self._found_north = north - _between(self._way_north, slot, part_ms)
        self._found_quality = reader.quality  # last: a tick in between sees none of it

    def _on(self, plane: Plane, reader: "Reader") -> bool:
        return plane.take(reader.latitude_deg, reader.latitude_e7,
                          reader.longitude_deg, reader.longitude_e7)

    def _lay(self, reader: "Reader") -> Plane | None:
        """Lay a new plane around a fix; None so near to a pole that there is none."""
        latitude_e4 = reader.latitude_deg * 10000 + (reader.latitude_e7 + 500) // 1000
        longitude_e4 = reader.longitude_deg * 10000 + (reader.longitude_e7 + 500) // 1000
        if not -LATITUDE_MAX_E4 <= latitude_e4 <= LATITUDE_MAX_E4:
            return None
        self.quality = 0
        self._found_quality = 0
        plane = Plane(latitude_e4, longitude_e4)
        self._on(plane, reader)
        for slot in range(PAST):
            self._way_east[slot] = 0
            self._way_north[slot] = 0
        self.plane = plane
        return plane


def _between(way: list[int], slot: int, part_ms: int) -> int:
    """Return where the way was so long before a tick."""
    later = way[slot % PAST]
    return later + (way[(slot - 1) % PAST] - later) * part_ms // TICK_MS
