"""Position and course out of NMEA 0183 sentences (GGA, RMC, VTG), beside the speed of nmea.py.

    $--GGA,hhmmss.ss,llll.ll,a,yyyyy.yy,a,q,ss,h.h,alt,M,geoid,M,age,station*hh

Layout: go-nmea, https://github.com/adrianmo/go-nmea/blob/v1.7.0/gga.go; q is 0 no fix, 1 without
corrections, 2 differential, 3 precise, 4 and 5 real-time kinematic, fixed and float, 6 estimated,
7 by hand, 8 simulated. RMC, VTG and their modes: see nmea.py.

The position is that of GGA; of RMC where no GGA comes. Integers only, no allocation, and nothing is
raised whatever the bytes are.
"""

from app.headings import COURSE_FROM_MM_S
from app.nmea import NmeaSpeed

UNKNOWN = -1
_GGA_STAYS_AWAY = 3  # so many RMC without a GGA, and there is none

_COMMA, _POINT, _ZERO = 44, 46, 48
_MODES = b"ADPRF"  # 1 to 5, as GGA numbers them


class NmeaPosition(NmeaSpeed):
    """Where the antenna is, besides how fast.

    `fixes` counts the positions that came, with or without a fix; `quality` is that of the last, 0
    or 1 to 5 as in GGA. Where it is not 0, the place is there in whole degrees and a positive rest
    in 1e-7 degrees. `courses` counts courses over ground, `course_cdeg` is the last, 0 to 35999.
    """

    def __init__(self) -> None:
        NmeaSpeed.__init__(self)
        self.fixes = 0
        self.quality = 0
        self.latitude_deg = 0
        self.latitude_e7 = 0
        self.longitude_deg = 0
        self.longitude_e7 = 0
        self.courses = 0
        self.course_cdeg = 0
        self._rmc_alone = 0
        self._degrees = 0
        self._rest_e7 = 0

    def _finish(self) -> None:
        end = self._length - 3
        before = self.accepted
        NmeaSpeed._finish(self)
        if self.accepted != before:
            if self._is_sentence(b"RMC"):
                self._take_course(8, end)
                self._rmc_alone += 1
                if self._rmc_alone > _GGA_STAYS_AWAY:
                    self._rmc_alone = _GGA_STAYS_AWAY
                    self._take_fix(3, self._quality_of_rmc(end), end)
            else:
                self._take_course(1, end)
        elif end >= 6 and self._checksum_holds(end) and self._is_sentence(b"GGA"):
            self._rmc_alone = 0
            quality = self._letter(6, end) - _ZERO
            self._take_fix(2, quality if 1 <= quality <= 5 and self._is_one(6, end) else 0, end)

    def _quality_of_rmc(self, end: int) -> int:
        """Return the quality that GGA would give; one without a mode is of before NMEA 2.3."""
        if not self.valid:
            return 0
        mode = self._letter(12, end)
        quality = 1
        for letter in _MODES:
            if letter == mode:
                return quality
            quality += 1
        return 1 if mode < 0 else 0

    def _is_one(self, field: int, end: int) -> bool:
        """Return whether a field is a single character."""
        after = self._start(field, end) + 1
        return after >= end or self._line[after] == _COMMA

    def _take_course(self, field: int, end: int) -> None:
        """Take the course over ground, where the receiver moves and knows it."""
        course = self._thousandths(field, end)
        if 0 <= course <= 360000 and self.valid and self.speed_mm_s >= COURSE_FROM_MM_S:
            self.course_cdeg = (course + 5) // 10 % 36000
            self.courses += 1

    def _take_fix(self, field: int, quality: int, end: int) -> None:
        """Take latitude and longitude from four fields; whatever is damaged is no fix."""
        self.quality = 0
        if quality and self._read_angle(field, 2, 90, b"NS", end):
            self.latitude_deg = self._degrees
            self.latitude_e7 = self._rest_e7
            if self._read_angle(field + 2, 3, 180, b"EW", end):
                self.longitude_deg = self._degrees
                self.longitude_e7 = self._rest_e7
                self.quality = quality
        self.fixes += 1

    def _read_angle(self, field: int, digits: int, most: int, sides: bytes, end: int) -> bool:
        """Read degrees and minutes, `ddmm.mmmm`, and the side after them; return whether sound."""
        i = self._start(field, end)
        side = self._letter(field + 1, end)
        if i < 0 or side < 0 or side not in sides or not self._is_one(field + 1, end):
            return False
        line = self._line
        degrees = minutes = count = 0
        decimals = UNKNOWN
        while i < end and line[i] != _COMMA:
            byte = line[i]
            i += 1
            if byte == _POINT and decimals < 0 and count == digits + 2:
                decimals = 0
            elif not _ZERO <= byte <= _ZERO + 9 or decimals < 0 and count == digits + 2:
                return False
            elif count < digits:
                degrees = degrees * 10 + byte - _ZERO
                count += 1
            elif decimals < 7:  # what is finer has no meaning
                minutes = minutes * 10 + byte - _ZERO
                count += 1
                if decimals >= 0:
                    decimals += 1
        if count < digits + 2:
            return False
        for _ in range(7 - max(decimals, 0)):
            minutes *= 10
        rest_e7 = (minutes + 30) // 60
        if minutes >= 600000000 or degrees > most or degrees == most and rest_e7:
            return False
        self._keep(degrees, rest_e7, side == sides[1])
        return True

    def _keep(self, degrees: int, rest_e7: int, negative: bool) -> None:
        """Keep an angle as whole degrees and a rest that is 0 to 9,999,999."""
        if negative:
            degrees = -degrees
            rest_e7 = -rest_e7
        if not 0 <= rest_e7 < 10000000:
            carry = rest_e7 // 10000000
            degrees += carry
            rest_e7 -= carry * 10000000
        self._degrees = degrees
        self._rest_e7 = rest_e7
