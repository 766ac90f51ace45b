"""An SD card behind SPI, read and written sector by sector.

Source: SD Physical Layer Simplified Specification, chapters 4 (identification, commands, CRC) and 7
(SPI mode), from memory. Cards that count in sectors, SDHC and SDXC; older ones count in bytes and
are refused.

Nothing waits for the card here: a call is one transfer of a bounded length, and a card that is not
ready answers AGAIN. Nor does the tick wait, which needs the same lines: it takes them in the middle
of a transfer (see boards/card_port.py). That transfer is void, and is done again.
"""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Protocol

    class CardPort(Protocol):
        """What leads to the card. held is 1 from select() until release(), or the tick."""

        held: int

        def speed(self, hertz: int) -> None:
            """Choose the clock of the lines."""

        def select(self) -> None:
            """Select the card."""

        def exchange(self, out: bytearray | memoryview, back: bytearray | memoryview) -> None:
            """Send out while as many bytes come back; nothing where it is not held any more."""

        def release(self) -> None:
            """Let go of the card, and give it 16 clocks more."""

AGAIN, DONE = range(2)

SECTOR = 512
PIECE = 32  # bytes in which interrupts wait: a quarter of a millisecond at 1 MHz
SLOW_HZ, FAST_HZ = 400000, 1000000  # until it is ready at most 400 kHz
NOT_READY = "card: does not answer"
TOO_OLD = "card: is no SDHC or SDXC card"
NOT_WRITTEN = "card: does not take what is written"

_GO_IDLE, _SEND_CONDITION, _READ, _WRITE = 0, 8, 17, 24
_OPERATE, _APPLICATION, _READ_OCR = 41, 55, 58
_PATTERN = 0x1AA  # 2.7 to 3.6 V, and bits that the card sends back
_HIGH_CAPACITY = 0x40  # of the first byte of its conditions
_CRC_IDLE, _CRC_CONDITION = 0x95, 0x87  # only these two commands are checked before CRC is on
_IDLE = 1
_TOKEN = 0xFE
_ACCEPTED = 5
_ANSWER_BYTES = 8
LAST_STEP = 3
_TOKEN_BYTES = 100  # waited for data within one call, some 5 ms; then it is asked anew


class CardError(Exception):
    """The card does not do what it must; args[0] is what a person is told."""


class SdCard:
    """One card. sector is what was read, or is to be written; head is the start of one alone.

    transfers counts the sectors that were read or written.
    """

    def __init__(self, port: "CardPort") -> None:
        self.sector = bytearray(SECTOR)
        self.transfers = 0
        self._port = port
        view = memoryview(self.sector)
        self._pieces = [view[at : at + PIECE] for at in range(0, SECTOR, PIECE)]
        self._ones = bytearray(PIECE)
        for index in range(PIECE):
            self._ones[index] = 0xFF
        self.head = bytearray(PIECE)
        self._scrap = bytearray(PIECE)
        self._frame = bytearray(6)
        self._frame_back = bytearray(6)
        self._out = bytearray(1)
        self._back = bytearray(1)
        self.reset()

    def reset(self) -> None:
        """Begin anew, as after another card was put in."""
        self._step = 0
        self._void = 0  # a transfer was taken away: the card may still wait for its rest

    def start(self) -> int:
        """Identify it by a step. Raises CardError."""
        port = self._port
        step = self._step
        if step == 0:
            port.speed(SLOW_HZ)
            for _ in range(5):  # it wants 74 clocks at least while it is not selected
                port.release()
        port.select()
        if step == 0:
            well = self._command(_GO_IDLE, 0, _CRC_IDLE) == _IDLE
        elif step == 1:
            well = self._command(_SEND_CONDITION, _PATTERN, _CRC_CONDITION) == _IDLE
            well = self._four() == _PATTERN and well
        elif step == 2:
            self._command(_APPLICATION, 0)
            answer = self._command(_OPERATE, 1 << 30)  # that high capacity is understood here
            well = answer <= _IDLE
            if answer == _IDLE:
                step -= 1  # it is asked again
        else:
            well = self._command(_READ_OCR, 0) == 0
            self._four()
        if not self._closed(well, TOO_OLD if step == 1 else NOT_READY):
            return AGAIN
        self._step = step + 1
        if step < LAST_STEP:
            return AGAIN
        if not self._frame_back[0] & _HIGH_CAPACITY:
            raise CardError(TOO_OLD)
        port.speed(FAST_HZ)
        return DONE

    def read(self, number: int, whole: int = 1) -> int:
        """Read a sector into sector, or only its start into head. Raises CardError."""
        if not self._opened():
            return AGAIN
        if self._command(_READ, number) != 0:
            return self._closed(False)
        port = self._port
        token = 0xFF
        for _ in range(_TOKEN_BYTES):
            token = self._byte()
            if token != 0xFF:
                break
        if token == 0xFF:
            self._closed(True)
            self._void = 1
            return AGAIN
        ones = self._ones
        into = self.head
        for piece in self._pieces:
            port.exchange(ones, piece if whole else into)
            into = self._scrap
        self._byte()
        self._byte()
        done = self._closed(token == _TOKEN)
        self.transfers += done
        return done

    def write(self, number: int) -> int:
        """Write sector; the card is busy afterwards, and answers AGAIN. Raises CardError."""
        if not self._opened():
            return AGAIN
        if self._command(_WRITE, number) != 0:
            return self._closed(False)
        port = self._port
        scrap = self._scrap
        self._byte()
        self._byte(_TOKEN)
        for piece in self._pieces:
            port.exchange(piece, scrap)
        self._byte()  # two of a checksum that is not looked at
        self._byte()
        answer = 0xFF
        for _ in range(_ANSWER_BYTES):
            answer = self._byte()
            if answer & 0x11 == 1:
                break
        done = self._closed(answer & 0x1F == _ACCEPTED, NOT_WRITTEN)
        self.transfers += done
        return done

    def _opened(self) -> bool:
        """Select the card, and return whether it is ready for a command."""
        port = self._port
        port.select()
        void = self._void
        if void:  # it may wait for data, or has some to give: let it have both
            self._void = 0
            self._byte(_TOKEN)
            for _ in range(SECTOR // PIECE + 1):
                port.exchange(self._ones, self._scrap)
        if self._byte() == 0xFF and not void:  # it holds the line low while it is busy
            return True
        self._closed(True)
        return False

    def _closed(self, well: bool, problem: str = NOT_READY) -> int:
        """Let go of the card; raise CardError where it was not well, by its own fault."""
        port = self._port
        held = port.held
        port.release()
        if not held:
            self._void = 1
            return AGAIN
        if not well:
            raise CardError(problem)
        return DONE

    def _command(self, index: int, argument: int, crc: int = 0xFF) -> int:
        """Send a command; return its answer, a byte, above 127 where none comes."""
        frame = self._frame
        frame[0] = 0x40 | index
        frame[1] = argument >> 24 & 0xFF
        frame[2] = argument >> 16 & 0xFF
        frame[3] = argument >> 8 & 0xFF
        frame[4] = argument & 0xFF
        frame[5] = crc
        self._port.exchange(frame, self._frame_back)
        answer = 0xFF
        for _ in range(_ANSWER_BYTES):
            answer = self._byte()
            if answer < 0x80:
                break
        return answer

    def _four(self) -> int:
        """Take four bytes behind an answer; return the last two of them as a number."""
        back = self._frame_back
        for index in range(4):
            back[index] = self._byte()
        return (back[2] & 0x0F) << 8 | back[3]

    def _byte(self, out: int = 0xFF) -> int:
        """Exchange a byte."""
        back = self._back
        back[0] = 0xFF  # as it stays where the tick has taken the lines
        self._out[0] = out
        self._port.exchange(self._out, back)
        return back[0]
