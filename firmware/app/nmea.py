"""Ground speed out of NMEA 0183 sentences (RMC and VTG), byte by byte.

Integers only and without allocation, from a fixed buffer. Whatever the bytes
are, nothing is raised: what is not a sound sentence is counted in `rejected`.

    $--RMC,hhmmss.ss,A,llll.ll,a,yyyyy.yy,a,KNOTS,course,ddmmyy,r.r,a[,mode[,nav]]*hh
    $--VTG,course,T,course,M,KNOTS,N,KM_H,K[,mode]*hh

Layouts: go-nmea, https://github.com/adrianmo/go-nmea/blob/v1.7.0/vtg.go, and
CalCOFI echosounder help, RMC telegram,
https://calcofi.org/downloads/underway/2023/2311SR/splitbeam-ek80/settings/Help/en/INTERFACE/GUID-850A1BD1-BF0F-48BB-92D7-DEE1D24A8E87.html
The checksum is the exclusive or of what stands between `$` and `*`.
"""

# The standard allows 82 characters; receivers with extra digits exceed it a little.
MAX_SENTENCE = 100

_DOLLAR, _STAR, _COMMA, _POINT = 36, 42, 44, 46
_LINE_END = b"\r\n"
_NO_FIELD = -1

# Mode indicator (NMEA 2.3 on) of a fix that may be trusted: autonomous,
# differential, precise, real-time kinematic fixed and float. Not: estimated,
# manual, simulated, none.
_GOOD_MODES = b"ADPRF"

# 1 kn = 1.852 km/h exactly. Parsed speeds are in thousandths of their unit and
# below 1000 units, so every product stays a small int.
_KNOT_MM_S = (463, 900)
_KM_H_MM_S = (5, 18)


class NmeaSpeed:
    """Speed reports found in a stream of bytes.

    `speed_mm_s`: the last reported speed (kept while not valid). `valid`: whether
    the last report was a trustworthy fix; how old it is, the caller knows.
    `accepted`, `rejected`: sentences used, and sentences that were damaged.
    """

    def __init__(self) -> None:
        self.speed_mm_s = 0
        self.valid = False
        self.accepted = 0
        self.rejected = 0
        self._line = bytearray(MAX_SENTENCE)
        self._length = 0
        self._collecting = False

    def feed(self, data: bytes | memoryview) -> int:
        """Take in bytes; the number of speed reports (valid or not) completed by them."""
        before = self.accepted
        for byte in data:
            if byte == _DOLLAR:
                if self._collecting:
                    self.rejected += 1
                self._length = 0
                self._collecting = True
            elif self._collecting:
                self._take(byte)
        return self.accepted - before

    def _take(self, byte: int) -> None:
        if byte in _LINE_END:
            self._collecting = False
            self._finish()
        elif byte < 32 or byte > 126 or self._length >= MAX_SENTENCE:
            self._collecting = False
            self.rejected += 1
        else:
            self._line[self._length] = byte
            self._length += 1

    def _finish(self) -> None:
        end = self._length - 3
        if end < 0 or not self._checksum_holds(end):
            self.rejected += 1
        elif end < 6:
            return
        elif self._is_sentence(b"RMC"):
            self._use(end, 7, 2, 12)
        elif self._is_sentence(b"VTG"):
            self._use(end, 5, _NO_FIELD, 9)

    def _checksum_holds(self, end: int) -> bool:
        line = self._line
        if line[end] != _STAR:
            return False
        total = 0
        for i in range(end):
            total ^= line[i]
        return _hex(line[end + 1]) == total >> 4 and _hex(line[end + 2]) == total & 15

    def _is_sentence(self, kind: bytes) -> bool:
        """Whether the address is two talker letters (not proprietary `P`) and `kind`."""
        line = self._line
        if line[5] != _COMMA or line[0] == 80:
            return False
        return line[2] == kind[0] and line[3] == kind[1] and line[4] == kind[2]

    def _use(self, end: int, speed_field: int, status_field: int, mode_field: int) -> None:
        """Take the speed (knots; for VTG also km/h, two fields on) and its validity."""
        thousandths = self._thousandths(speed_field, end)
        ratio = _KNOT_MM_S
        if thousandths < 0 and status_field == _NO_FIELD:
            thousandths = self._thousandths(speed_field + 2, end)
            ratio = _KM_H_MM_S
        mode = self._letter(mode_field, end)
        self.valid = (
            thousandths >= 0
            and (status_field == _NO_FIELD or self._letter(status_field, end) == 65)
            and (mode == _NO_FIELD or mode in _GOOD_MODES)
        )
        if thousandths >= 0:
            half = ratio[1] >> 1
            self.speed_mm_s = (thousandths * ratio[0] + half) // ratio[1]
        self.accepted += 1

    def _start(self, field: int, end: int) -> int:
        """Index of the first character of a field (0 is the address), or `_NO_FIELD`."""
        line = self._line
        i = 0
        while field:
            if i >= end:
                return _NO_FIELD
            if line[i] == _COMMA:
                field -= 1
            i += 1
        return i

    def _letter(self, field: int, end: int) -> int:
        """The single character of a field; `_NO_FIELD` if it is empty or missing."""
        i = self._start(field, end)
        if i < 0 or i >= end or self._line[i] == _COMMA:
            return _NO_FIELD
        return self._line[i]

    def _thousandths(self, field: int, end: int) -> int:
        """A plain decimal field below 1000 in thousandths; negative if it is none."""
        line = self._line
        i = self._start(field, end)
        if i < 0:
            return _NO_FIELD
        value = digits = 0
        decimals = _NO_FIELD
        while i < end and line[i] != _COMMA:
            byte = line[i]
            if byte == _POINT and decimals < 0:
                decimals = 0
            elif not 48 <= byte <= 57:
                return _NO_FIELD
            elif decimals < 3:
                value = value * 10 + byte - 48
                digits += 1
                if decimals >= 0:
                    decimals += 1
                if value > 999999:
                    return _NO_FIELD
            i += 1
        for _ in range(3 - max(decimals, 0)):
            value *= 10
        return value if digits and value < 1000000 else _NO_FIELD


def _hex(byte: int) -> int:
    """Value of an ASCII hexadecimal digit, -1 if it is none."""
    if 48 <= byte <= 57:
        return byte - 48
    byte &= 0xDF
    return byte - 55 if 65 <= byte <= 70 else -1
