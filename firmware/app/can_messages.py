"""Speed, place and course out of ISO 11783-7 and NMEA 2000 messages; the frames are the caller's.

    65096, 65097  bytes 1-2 speed of the wheels, over ground, 0.001 m/s a bit, up to 0xFAFF
    129025        bytes 1-4 latitude, 5-8 longitude, 1e-7 degrees, signed
    129026        byte 2 lowest two bits 0: true course; bytes 3-4 course over ground, 0.0001 rad;
                  bytes 5-6 speed over ground, 0.01 m/s

Little endian. Sources: ISOBUS parameter database,
https://www.isobus.net/isobus/pGNAndSPN/15578?type=PGN (wheels) and .../13578?type=SPN (ground); the
message tables of canboat, https://github.com/canboat/canboat (129025, 129026). That raw values from
0xFB00 on mean an error or nothing is the convention of SAE J1939, from memory.
Integers below 2**30 only, no allocation, and nothing is raised whatever the bytes are.
"""

from app.headings import COURSE_FROM_MM_S

WHEEL_SPEED_PGN = 65096
GROUND_SPEED_PGN = 65097
POSITION_PGN = 129025
COURSE_PGN = 129026

_SPEED_MOST = 0xFAFF
_MOTION_MOST = 0xFFFC  # of a course or speed in 129026: what is above means that there is none
_TURN = 62832  # in 0.0001 rad
_CDEG = (4496, 7847)  # of 0.0001 rad, within 1e-7 of itself
_EIGHTHS_DEG = 1250000  # of 8e-7 degrees


class CanMessages:
    """What the messages say, as app.nmea_position.NmeaPosition says it of sentences.

    speed_mm_s and valid are the last speed and whether the sender knows it; fixes counts positions,
    quality is 1 where there is one, else 0: these messages do not tell corrections.
    """

    def __init__(self) -> None:
        self.speed_mm_s = 0
        self.valid = False
        self.fixes = 0
        self.quality = 0
        self.latitude_deg = 0
        self.latitude_e7 = 0
        self.longitude_deg = 0
        self.longitude_e7 = 0
        self.courses = 0
        self.course_cdeg = 0
        self._degrees = 0
        self._rest_e7 = 0

    def take(self, pgn: int, data: memoryview) -> bool:
        """Take a message of eight bytes; return whether it tells a speed, known or not."""
        if pgn == POSITION_PGN:
            self._take_fix(data)
            return False
        if pgn == COURSE_PGN:
            self._take_speed(data[4] | data[5] << 8, _MOTION_MOST, 10)
            self._take_course(data)
            return True
        if pgn in (WHEEL_SPEED_PGN, GROUND_SPEED_PGN):
            self._take_speed(data[0] | data[1] << 8, _SPEED_MOST, 1)
            return True
        return False

    def _take_speed(self, raw: int, most: int, unit_mm_s: int) -> None:
        self.valid = raw <= most
        if self.valid:
            self.speed_mm_s = raw * unit_mm_s

    def _take_course(self, data: memoryview) -> None:
        """Take the course over true north, where the machine moves; a magnetic one is of no use."""
        raw = data[2] | data[3] << 8
        if raw <= _TURN and not data[1] & 3 and self.valid and self.speed_mm_s >= COURSE_FROM_MM_S:
            self.course_cdeg = (raw * _CDEG[0] + _CDEG[1] // 2) // _CDEG[1] % 36000
            self.courses += 1

    def _take_fix(self, data: memoryview) -> None:
        """Take latitude and longitude; whatever cannot be is no fix."""
        self.quality = 0
        if self._read_angle(data, 0, 90):
            self.latitude_deg = self._degrees
            self.latitude_e7 = self._rest_e7
            if self._read_angle(data, 4, 180):
                self.longitude_deg = self._degrees
                self.longitude_e7 = self._rest_e7
                self.quality = 1
        self.fixes += 1

    def _read_angle(self, data: memoryview, index: int, most: int) -> bool:
        """Read an angle as whole degrees and a positive rest; return whether there is one.

        Reckoned in eighths: a longitude in 1e-7 degrees has more than 30 bits.
        """
        top = data[index + 3]
        if top & 0x80:
            top -= 0x100
        eighths = top << 21 | data[index + 2] << 13 | data[index + 1] << 5 | data[index] >> 3
        degrees = eighths // _EIGHTHS_DEG
        self._degrees = degrees
        rest_e7 = self._rest_e7 = eighths % _EIGHTHS_DEG * 8 + (data[index] & 7)
        return -most <= degrees < most or degrees == most and not rest_e7
