"""The trace on an SD card: what a computer would record over the link, kept by the board itself.

This module is loaded where a card is wired. It is polled between ticks and does one transfer at a
time, for which the tick does not wait. Each start begins a session: what the board is, its settings
and totals as texts, then the numbers of telemetry, some records a sector. A power cut loses those
of the sector under way, half a second. Whatever is wrong with the card is told, and the card asked
anew each second; the machine goes on. So it does where memory runs short, as it may when a card is
put in at work and its texts are written while screens are loaded.
"""

import json
from binascii import crc32
from struct import pack_into

from app import link_handlers
from app.card_file import HEAD, MAGIC, RECORDS, CardFile
from app.sd_card import AGAIN, DONE, NOT_READY, SECTOR, CardError, SdCard
from app.telemetry import NAMES, Telemetry
from rate_control.intmath import ticks_diff
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.sd_card import CardPort

PERIOD_MS = 10
EVERY_TICKS = 2
LATEST_US = 30000  # after a tick: a transfer then ends before the next one
RETRY_US = 1000000
PATIENCE_US = 3000000  # a card starts for a second, and may be busy for half a one
PAYLOAD = 32  # where it begins, behind eight words
CHECKSUM = SECTOR - 4
TEXTS = (("hello", link_handlers.hello), ("settings", link_handlers.get_settings),
         ("totals", link_handlers.get_totals))
FULL = "card: full, no trace any more"
ROOM = "card: room for %d min of trace"
NO_ROOM = "card: not enough memory: a frozen firmware or an RP2350 has it"  # as at the start
LEFT_OUT = "card: slow, some of the trace is left out"
TOLD_HOURS = 8
START, FIND, TEXT, FILL, ROOM_FOR, WRITE, REST, OVER = range(8)  # steps


def fit(application: "Application", port: "CardPort") -> None:
    """Give an application its trace on the card behind a port."""
    application.jobs.add("card", PERIOD_MS, CardTrace(application, port).poll)


class SectorWriter:
    """Puts the numbers of records into a sector, as RecordWriter makes texts of them."""

    def __init__(self, sector: bytearray) -> None:
        self.sector = sector
        self.width = self.room = 1
        self.clear()

    def widen(self, width: int) -> None:
        """Let a record have so many numbers, and room be how many records fit."""
        self.width = width
        self.room = (CHECKSUM - PAYLOAD) // (4 * width)

    def clear(self) -> None:
        """Begin anew."""
        self.count = 0
        self._at = PAYLOAD

    def begin(self, _: int) -> None:
        """Start a record."""

    def put(self, _: bytes) -> None:
        """Leave out what stands between numbers."""

    def put_number(self, number: int) -> None:
        """Append a number."""
        pack_into("<i", self.sector, self._at, number)
        self._at += 4

    def finish(self) -> None:
        """Count a record."""
        self.count += 1


class CardTrace:
    """Takes one step after the other: it finds the file, writes the texts, then sector by sector.

    file is what is on the card; telemetry follows the ring from the texts on.
    """

    file: "CardFile"
    telemetry: "Telemetry | None"

    def __init__(self, application: "Application", port: "CardPort") -> None:
        self.application = application  # as the handlers of the link want it
        self._card = SdCard(port)
        self._writer = SectorWriter(self._card.sector)
        self._steps = (self._start, self._find, self._fill_text, self._fill, self._make_room,
                       self._write)
        self._well_us = 0  # when something went well
        self._told: list[str] = []
        self._told_hours = TOLD_HOURS
        self._begin()

    def _begin(self) -> None:
        """Begin with the card."""
        self._card.reset()
        self.file = CardFile(self._card)
        self.telemetry = None
        self._step = START

    def poll(self) -> None:
        """Take a step, where the tick leaves the time."""
        ring = self.application.ring
        now_us = self.application.board.now_us()
        if self._step == OVER or not ring.count or \
                ticks_diff(now_us, ring.newest()[0]) > LATEST_US:
            return
        waited_us = ticks_diff(now_us, self._well_us)
        try:
            if self._step == REST:
                if waited_us >= RETRY_US:
                    self._well_us = now_us
                    self._begin()
                return
            self._follow()
            transfers = self._card.transfers
            self._step = self._steps[self._step]()
            if self._card.transfers != transfers or self._step == FILL:
                self._well_us = now_us
            elif waited_us > PATIENCE_US:
                raise CardError(NOT_READY)
        except (CardError, MemoryError) as error:
            self._well_us = now_us
            self._step = REST
            self._tell(NO_ROOM if isinstance(error, MemoryError) else error.args[0])

    def _follow(self) -> None:
        """Lose no way and no volume while a sector waits for the card."""
        telemetry = self.telemetry
        if telemetry is not None and self._step != FILL:
            before = telemetry.dropped + telemetry.lost
            telemetry.poll(False, 0)
            if telemetry.dropped + telemetry.lost != before:
                self._tell(LEFT_OUT)

    def _tell(self, text: str) -> None:
        """Tell a person, once until a trace has been written again."""
        if text not in self._told and text not in self.application.notes:
            self._told.append(text)
            self.application.notes.append(text)

    def _start(self) -> int:
        return FIND if self._card.start() == DONE else START

    def _find(self) -> int:
        return FIND if self.file.find() == AGAIN else self._begin_session()

    def _begin_session(self) -> int:
        self._session = 0  # not known before it has a place
        self._settings = self.application.controller.settings
        self._document = 0
        self._text = b""
        self._writer.widen(len(NAMES) + len(self.application.ring.more))
        self._hour = 3600000 // (TICK_MS * EVERY_TICKS * self._writer.room)  # in sectors
        self.telemetry = None
        return TEXT

    def _fill_text(self) -> int:
        """Fill a sector with text; behind the last one the records begin."""
        if not self._text:
            if self._document == len(TEXTS):
                self.telemetry = Telemetry(self.application, self._writer)
                self.telemetry.every = EVERY_TICKS
                return FILL
            name, handler = TEXTS[self._document]
            self._text = json.dumps({name: handler(self, {})}).encode() + b"\n"  # type: ignore[arg-type]
            self._document += 1
        part = self._text[: CHECKSUM - PAYLOAD]
        self._text = self._text[len(part) :]
        self._card.sector[PAYLOAD : PAYLOAD + len(part)] = part
        self._writer.count = len(part)
        return ROOM_FOR

    def _fill(self) -> int:
        """Take in what has come; a session ends where the settings are changed."""
        writer = self._writer
        if self._settings is not self.application.controller.settings:
            return ROOM_FOR if writer.count else self._begin_session()
        while writer.count < writer.room:
            if not self.telemetry.poll(True, 0):  # type: ignore[union-attr]  # it is made by now
                return FILL
        return ROOM_FOR

    def _make_room(self) -> int:
        """See that the next sector of the file is empty, and complete what goes there."""
        file = self.file
        left = file.size - file.end
        if left <= 0:
            self._tell(FULL)
            return OVER
        if left < self._told_hours * self._hour:
            self._told_hours = 1 if left >= self._hour else 0
            self._tell(ROOM % (left * 60 // self._hour))
        if file.make_room() == AGAIN:
            return ROOM_FOR
        sector = self._card.sector
        self._session = self._session or file.end
        pack_into("<8i", sector, 0, MAGIC, file.number, file.end,
                  HEAD if self.telemetry is None else RECORDS, self._session, self._writer.count,
                  self._writer.width, 0)
        pack_into("<I", sector, CHECKSUM, crc32(memoryview(sector)[:CHECKSUM]))
        return WRITE

    def _write(self) -> int:
        if self.file.write() == AGAIN:
            return WRITE
        self._writer.clear()
        if self.telemetry is None:
            return TEXT
        self._told.clear()
        return FILL
