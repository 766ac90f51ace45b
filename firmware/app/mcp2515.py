"""The MCP2515, a CAN controller behind SPI: it listens at 250 kbit/s for two kinds of messages.

Source: MCP2515 data sheet (DS20001801), sections 4 (reception), 5 (bit timing), 10 (modes), 11
(registers) and 12 (SPI instructions), from memory. The bit rate is that of ISO 11783-2 and NMEA
2000. In its mode of listening only the chip neither acknowledges nor signals errors: it can disturb
nobody, and never goes off the bus.

Nothing waits here: every call is one step of a few short exchanges. What comes back is believed
only where a pattern of 36 written bytes reads back, for without a chip the line carries levels too.
"""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Protocol

    class CanPort(Protocol):
        """What leads to a chip with a crystal of mhz."""

        mhz: int

        def exchange(self, out: bytearray, back: bytearray) -> None:
            """Select the chip, send out while as many bytes come back, let go of it."""

CRYSTALS_MHZ = (8, 16)
NO_MESSAGE = -1

_RESET, _READ, _WRITE, _CHANGE, _STATUS = 0xC0, 0x03, 0x02, 0x05, 0xA0
_TAKE = (0x90, 0x94)  # a frame out of a buffer, which is free afterwards
_MODE, _CONTROL, _FLAGS, _ERRORS, _FIRST_BUFFER = 0x0E, 0x0F, 0x2C, 0x2D, 0x60
_MODE_BITS, _CONFIGURING, _LISTENING = 0xE0, 0x80, 0x60
_DAMAGED = 0x80  # of the flags
_LOST = 0xC0  # of the errors: a buffer was full
_OFF = 0x20  # of the errors: off the bus
_EXTENDED = 0x08
_FRAME = 14  # an instruction, four bytes of identifier, the length, eight of data
_BLOCKS = (0x00, 0x10, 0x20)  # six filters, then two masks and the bit timing: 12 registers each

# 16 quanta of 250 ns a bit, sampled after 13 of them (81 %; ISO 11783-2 wants 80 %, from memory):
# 1 to synchronise, 5 for the way, 7 and 3 around the sample.
_CNF3, _CNF2 = 2, 0x80 | 6 << 3 | 4


class Mcp2515:
    """One chip. After take() pgn, sender and data are those of a frame, pgn may be NO_MESSAGE.

    frames counts what was taken, damaged how often check() found that damaged ones had come, lost
    the same of frames for which both buffers were full.
    """

    def __init__(self, port: "CanPort", first: int, second: int) -> None:
        """first and second are the messages (PGN) that the two buffers are for."""
        self.pgn = NO_MESSAGE
        self.sender = 0
        self.frames = self.damaged = self.lost = 0
        self._port = port
        self._pgns = (first, second)
        self._out = bytearray(_FRAME)
        self._frame = bytearray(_FRAME)
        self.data = memoryview(self._frame)[6:]
        self._ask = bytearray(4)
        self._told = bytearray(4)

    def reset(self) -> None:
        """Let it start anew; it is ready some 20 us later, so the next step needs its own call."""
        one = bytearray(1)
        one[0] = _RESET
        self._port.exchange(one, bytearray(1))

    def configure(self) -> bool:
        """Write filters, masks and bit timing, read them back and begin to listen.

        Return whether the chip answers as it must.
        """
        self._short(_READ, _MODE, 0, 0)
        if self._told[2] & _MODE_BITS != _CONFIGURING:
            return False
        for block in _BLOCKS:
            out = self._block(_WRITE, block)
            self._port.exchange(out, self._frame)
        for block in _BLOCKS:
            out = self._block(_WRITE, block)
            out[0] = _READ
            self._port.exchange(out, self._frame)
            if self._frame[2:] != out[2:]:
                return False
        self._short(_CHANGE, _CONTROL, _MODE_BITS, _LISTENING)
        return True

    def _block(self, instruction: int, register: int) -> bytearray:
        """Return the instruction for a block of registers, with what belongs there."""
        out = self._out
        out[0] = instruction
        out[1] = register
        for index in range(2, _FRAME):
            out[index] = 0
        if register < _BLOCKS[2]:
            first, second = self._pgns
            self._identify(2, second if register else first)
            self._identify(6, second if register else first)
            self._identify(10, second)
        else:
            for index in (2, 6):  # priority and sender may be any
                out[index] = 0x1F
                out[index + 1] = 0xE3
                out[index + 2] = 0xFF
            out[10] = _CNF3
            out[11] = _CNF2
            out[12] = self._port.mhz // 8 - 1
        return out

    def _identify(self, index: int, pgn: int) -> None:
        """Write the identifier of a message as the registers of a filter have it."""
        out = self._out
        out[index] = pgn >> 13
        out[index + 1] = pgn >> 5 & 0xE0 | _EXTENDED | pgn >> 8 & 3
        out[index + 2] = pgn & 0xFF

    def check(self) -> bool:
        """Return whether it listens; count what it could not take."""
        self._short(_READ, _MODE, 0, 0)
        listens = self._told[2] & _MODE_BITS == _LISTENING
        self._short(_READ, _FLAGS, 0, 0)
        flags, errors = self._told[2], self._told[3]
        if not listens or errors & _OFF:
            return False
        if flags & _DAMAGED:
            self.damaged += 1
            self._short(_CHANGE, _FLAGS, _DAMAGED, 0)
        if errors & _LOST:
            self.lost += 1
            self._short(_CHANGE, _ERRORS, _LOST, 0)
        return True

    def take(self) -> bool:
        """Take a frame where one waits, and return whether it did."""
        self._short(_STATUS, 0, 0, 0)
        waiting = self._told[1] & 3
        if not waiting:
            return False
        out = self._out
        for index in range(1, _FRAME):
            out[index] = 0
        out[0] = _TAKE[0 if waiting & 1 else 1]
        self._port.exchange(out, self._frame)
        frame = self._frame
        high, low = frame[1], frame[2]
        self.pgn = NO_MESSAGE
        if low & _EXTENDED and frame[5] == 8:
            self.pgn = (high & 0x1F) << 13 | (low & 0xE0) << 5 | (low & 3) << 8 | frame[3]
            self.sender = frame[4]
            self.frames += 1
        return True

    def _short(self, instruction: int, register: int, third: int, fourth: int) -> None:
        """Exchange four bytes: two registers read, or bits of one changed."""
        ask = self._ask
        ask[0] = instruction
        ask[1] = register
        ask[2] = third
        ask[3] = fourth
        self._port.exchange(ask, self._told)
