"""Records of the link: lines of text that say themselves whether they arrived whole.

    1 17 {"do": "hello"} DBFC

Version, sequence number, body, checksum, one space between them, newline at the end. The body
is JSON: a terminal shows it, every language reads it, and MicroPython has it in C. The
checksum is CRC-16/CCITT-FALSE over everything before the last space, in four hex digits. The
same form keeps a document in the store, where the sequence number counts the generations.
"""

VERSION = 1
SEQUENCE_MASK = 0xFFFF
MAX_RECORD = 2048  # bytes with the newline: all settings at their widest fit in one record
MAX_BODY = MAX_RECORD - len("1 65535 " + " FFFF\n")

NEWLINE = 10
_PREFIX = b"%d " % VERSION
_SUFFIX_LENGTH = len(" FFFF")
_HEX = b"0123456789ABCDEF"


class FrameError(Exception):
    """A line that is no record; args[0] is the word for the error record."""


def crc16(data: bytes | bytearray, length: int) -> int:
    """Return the CRC-16/CCITT-FALSE of the first length bytes, without allocating.

    Source: catalogue of parametrised CRC algorithms, CRC-16/IBM-3740 (alias CCITT-FALSE),
    https://reveng.sourceforge.io/crc-catalogue/16.htm: polynomial 0x1021, initial 0xFFFF,
    neither reflected nor inverted; the check value of "123456789" is 0x29B1. The polynomial is
    x^16 + x^12 + x^5 + 1, so what a leading byte does is that byte, with its high half added to
    its low one, put in at these places. A table would be faster and take half a kB of memory.
    """
    crc = 0xFFFF
    for index in range(length):
        lead = crc >> 8 ^ data[index]
        lead ^= lead >> 4
        crc = (crc << 8 ^ lead << 12 ^ lead << 5 ^ lead) & 0xFFFF
    return crc


def parse(line: bytes) -> tuple[int, bytes]:
    """Return (sequence number, body) of a line of bytes without its newline.

    Raises FrameError: "checksum", "version" or "malformed".
    """
    length = len(line) - _SUFFIX_LENGTH
    if length < 0 or line[length:] != b" %04X" % crc16(line, length):
        raise FrameError("checksum")
    parts = line[:length].split(b" ", 2)
    if len(parts) != 3:
        raise FrameError("malformed")
    version, digits, body = parts
    if version != b"%d" % VERSION:
        raise FrameError("version")
    if not digits.isdigit() or len(digits) > 5 or int(digits) > SEQUENCE_MASK:
        raise FrameError("malformed")
    for byte in body:
        if not 32 <= byte < 127:
            raise FrameError("malformed")
    return int(digits), bytes(body)


class RecordWriter:
    """Builds one record in a buffer made beforehand; buffer[:length] is the record."""

    def __init__(self, size: int = MAX_RECORD) -> None:
        self.buffer = bytearray(size)
        self.length = 0

    def begin(self, sequence: int) -> None:
        """Start a record."""
        self.length = 0
        self.put(_PREFIX)
        self.put_number(sequence)
        self.put(b" ")

    def put(self, data: bytes) -> None:
        """Append bytes; whatever a body may not hold becomes a question mark."""
        buffer = self.buffer
        end = self.length
        for byte in data:
            buffer[end] = byte if 32 <= byte < 127 else 63
            end += 1
        self.length = end

    def put_number(self, number: int) -> None:
        """Append a small int in decimal."""
        if number < 0:
            self.put(b"-")
            number = -number
        end = self.length
        rest = number
        while rest > 9:
            rest //= 10
            end += 1
        self.length = end + 1
        while end >= 0:
            self.buffer[end] = 48 + number % 10
            number //= 10
            if not number:
                return
            end -= 1

    def finish(self) -> None:
        """Append checksum and newline."""
        crc = crc16(self.buffer, self.length)
        self.put(b" ")
        end = self.length
        for shift in (12, 8, 4, 0):
            self.buffer[end] = _HEX[crc >> shift & 15]
            end += 1
        self.buffer[end] = NEWLINE
        self.length = end + 1


def record(sequence: int, body: bytes) -> bytes:
    """Return a whole record as bytes; it allocates. Raises ValueError where body is too long."""
    if len(body) > MAX_BODY:
        raise ValueError("body of %d bytes, at most %d fit" % (len(body), MAX_BODY))
    writer = RecordWriter()
    writer.begin(sequence)
    writer.put(body)
    writer.finish()
    return bytes(writer.buffer[: writer.length])


class LineReader:
    """Cuts what arrives into lines and never holds more than one record's length."""

    def __init__(self) -> None:
        self._held = bytearray()
        self._skipping = False

    def space(self) -> int:
        """Return how many bytes feed() may be given now."""
        return MAX_RECORD - len(self._held)

    def feed(self, data: bytes) -> None:
        """Take what has arrived, at most space() bytes."""
        self._held.extend(data)

    def take(self) -> bytes | None:
        """Return the next whole line without its line end, or None where there is none yet.

        Raises FrameError("too_long") once for a line that cannot be a record, and passes over
        the rest of it.
        """
        held = self._held
        end = held.find(b"\n")
        if end < 0:
            if self.space():
                return None
            held[:] = b""
            if self._skipping:
                return None
            self._skipping = True
            raise FrameError("too_long")
        line = bytes(held[:end])
        held[: end + 1] = b""
        if self._skipping:
            self._skipping = False
            return b""
        return line[:-1] if line[-1:] == b"\r" else line
