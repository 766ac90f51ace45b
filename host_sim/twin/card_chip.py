"""An SD card behind SPI, byte by byte, and what it holds.

It is what app/sd_card.py talks to in the twin and in the tests, on every interpreter, so it is
plain Python. Source of commands, answers and behaviour: SD Physical Layer Simplified Specification,
from memory, like the driver: what both have wrong no test here can show.
"""

SECTOR = 512
GO_IDLE, SEND_CONDITION, READ, WRITE, APPLICATION, OPERATE, OCR = 0, 8, 17, 24, 55, 41, 58
IDLE, ILLEGAL, BAD_CRC, OUT_OF_RANGE = 0x01, 0x04, 0x08, 0x40
ACCEPTED, WRITE_ERROR, TOKEN = 0x05, 0x0D, 0xFE
CLOCKS_FIRST = 74
SLOW_HZ = 400000


def crc7(data: bytes) -> int:
    """The check byte of a command, its end bit among it: x^7 + x^3 + 1, nothing inverted."""
    crc = 0
    for byte in data:
        for bit in range(8):
            crc = crc << 1 ^ (0x09 if (crc >> 6 ^ byte >> 7 - bit) & 1 else 0)
            crc &= 0x7F
    return crc << 1 | 1


class CardChip:
    """The card and the lines to it; select(), exchange() and release() are its SPI side.

    `sectors` holds what was ever written; others are `blank(number)`. While `present` is 0 the line
    carries `idle`. `busy_us` is how long it takes for a sector that it was given, `access` how many
    bytes pass before one that it was asked for, `starts` how often it says that it is not ready.
    One that is not `forgetful` still waits for the rest of a block after it was let go of. With
    `locked` it takes nothing. `wrong` lists what was done to it that must not be.
    """

    def __init__(self, size: int) -> None:
        self.sectors: dict[int, bytes] = {}
        self.size = size
        self.present = 1
        self.idle = 0xFF
        self.high_capacity = 1
        self.busy_us = 2000
        self.access = 3
        self.starts = 2
        self.forgetful = 1
        self.locked = 0
        self.takes_away = 0  # the tick takes the lines after so many pieces more
        self.wrong: list[str] = []
        self.written = 0
        self.held = 0
        self._busy = 0
        self._last = 0, b"", b""  # the sector written last, what it held before and what it holds
        self.power_up()

    def now_us(self) -> int:
        """Return the time; whoever has a clock puts its own here."""
        return 0

    def blank(self, number: int) -> bytes:
        """Return what a sector holds that was never written."""
        return bytes(SECTOR)

    def power_up(self) -> None:
        """As after power-up; a sector that is being written is torn in the middle."""
        if self.present and self._is_busy():
            number, before, after = self._last
            self.sectors[number] = after[: SECTOR // 2] + before[SECTOR // 2 :]
        self._clocks = 0
        self._mode = ""  # "idle", then "ready"
        self._left = self.starts
        self._application = 0
        self._frame = b""
        self._answer = b""
        self._receiving = -1  # the sector that data is awaited for
        self._data: bytearray | None = None
        self._busy = 0
        self._busy_from = 0
        self._hertz = 0

    def pull(self) -> None:
        """Take it out of its socket."""
        self.power_up()
        self.present = 0

    def put_in(self) -> None:
        """Put it in again."""
        self.present = 1
        self.power_up()

    def speed(self, hertz: int) -> None:
        """See app.sd_card.CardPort."""
        self._hertz = hertz

    def select(self) -> None:
        """See app.sd_card.CardPort."""
        self.held = 1

    def let_go(self) -> None:
        """Let the tick take the lines."""
        if self.held:
            self.held = 0
            self._let_go()

    def release(self) -> None:
        """See app.sd_card.CardPort."""
        if self.held:
            self._let_go()
        self.held = 0
        self._clocks += 16

    def _let_go(self) -> None:
        self._frame = self._answer = b""
        if self.forgetful:
            self._receiving = -1
            self._data = None

    def exchange(self, out, back) -> None:  # type: ignore[no-untyped-def]
        """See app.sd_card.CardPort."""
        assert len(out) == len(back)
        if self.takes_away:
            self.takes_away -= 1
            if not self.takes_away:
                self.let_go()
        if not self.held:
            return
        for index in range(len(out)):
            back[index] = self._byte(out[index]) if self.present else self.idle

    def _is_busy(self) -> bool:
        if self._busy and (self.now_us() - self._busy_from) % (1 << 30) >= self._busy:
            self._busy = 0
        return self._busy > 0

    def _byte(self, told: int) -> int:
        """Exchange a byte."""
        if self._answer:
            said = self._answer[0]
            self._answer = self._answer[1:]
            return said
        if self._is_busy():
            return 0
        if self._data is not None:
            self._take(told)
            return 0xFF
        if self._receiving >= 0:
            if told == TOKEN:
                self._data = bytearray()
            return 0xFF
        if self._frame or told & 0xC0 == 0x40:
            self._frame += bytes([told])
            if len(self._frame) == 6:
                frame, self._frame = self._frame, b""
                self._obey(frame[0] & 0x3F, int.from_bytes(frame[1:5], "big"), frame)
        return 0xFF

    def _take(self, told: int) -> None:
        """Take a byte of a block; behind it come two of a checksum."""
        data = self._data
        assert data is not None
        data.append(told)
        if len(data) < SECTOR + 2:
            return
        number, self._receiving, self._data = self._receiving, -1, None
        if self.locked:
            self._answer = bytes([0xE0 | WRITE_ERROR])
            return
        self._last = number, self.read(number), bytes(data[:SECTOR])
        self.sectors[number] = bytes(data[:SECTOR])
        self.written += 1
        self._answer = bytes([0xE0 | ACCEPTED])
        self._busy = self.busy_us
        self._busy_from = self.now_us()

    def read(self, number: int) -> bytes:
        """Return what a sector holds."""
        found = self.sectors.get(number)
        return self.blank(number) if found is None else found

    def _obey(self, command: int, argument: int, frame: bytes) -> None:
        """Answer a command, some bytes later."""
        said = self._said(command, argument, frame)
        self._application = command == APPLICATION
        if said:
            self._answer = b"\xff" + said

    def _said(self, command: int, argument: int, frame: bytes) -> bytes:
        if self._mode != "ready" and self._hertz > SLOW_HZ:
            self.wrong.append("too fast before it was ready")
        if command == GO_IDLE:
            if self._clocks < CLOCKS_FIRST:
                self.wrong.append("not enough clocks before the first command")
                return b""
            if frame[5] != crc7(frame[:5]):
                return bytes([IDLE | BAD_CRC])
            self._mode, self._left = "idle", self.starts
            return bytes([IDLE])
        if not self._mode:
            return b""  # it is no SPI device yet
        state = IDLE if self._mode == "idle" else 0
        if command == SEND_CONDITION:
            if not self.high_capacity:
                return bytes([state | ILLEGAL])
            if frame[5] != crc7(frame[:5]):
                return bytes([state | BAD_CRC])
            return bytes([state, 0, 0, argument >> 8 & 0x0F, argument & 0xFF])
        if command == APPLICATION:
            return bytes([state])
        if command == OPERATE and self._application:
            if not self._left and argument >> 30 & 1:
                self._mode, state = "ready", 0
            self._left = max(0, self._left - 1)
            return bytes([state])
        if command == OCR:
            return bytes([state, 0xC0 if not state else 0, 0xFF, 0x80, 0])
        if command not in (READ, WRITE) or state:
            return bytes([state | ILLEGAL])
        if argument >= self.size:
            return bytes([OUT_OF_RANGE])
        if command == WRITE:
            self._receiving = argument
            return bytes([0])
        return bytes([0]) + b"\xff" * self.access + bytes([TOKEN]) + self.read(argument) + b"\0\0"
