"""The trace that a board wrote onto a card, as recordings: one for each of its sessions.

What the sectors of trace.bin hold: firmware/app/card_file.py and card_trace.py. A recording made of
them has the same records as one that a computer made over the link; what it has not is a time of
day, for a board has no clock.
"""

from __future__ import annotations

import json
import os
import random
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from zlib import crc32

from app.card_file import EMPTY, HEAD, MAGIC, RECORDS
from app.card_trace import CHECKSUM, EVERY_TICKS, PAYLOAD, TEXTS
from app.link_frame import SEQUENCE_MASK, record
from app.sd_card import SECTOR
from host_sim.common.errors import InputError
from host_sim.common.progress import Progress
from host_sim.common.reading import MIB, check_file, parsed
from host_sim.runs.recording_file import Body
from rate_control.units import TICK_MS

FILE_NAME = "trace.bin"
RECORDS_A_SECTOR = 4  # of a machine without a position; one with it has fewer
SECTORS_AN_HOUR = 3_600_000 // (TICK_MS * EVERY_TICKS * RECORDS_A_SECTOR)
WORDS = struct.Struct("<8i")
NUMBER_MAX = 2**30 - 1
BATCH = 2048  # sectors that are read, or written, at once
LARGEST_BYTES = 4096 * MIB  # of a file on FAT32


@dataclass(frozen=True)
class Sector:
    """One sector of the file, whole by its checksum; `data` is what it carries."""

    number: int
    place: int
    kind: int
    session: int
    count: int
    width: int
    data: bytes


@dataclass
class CardSession:
    """What was written from one start to the next; `place` is that of its first sector.

    `text` and `numbers` are as they came, from so many `text_sectors` without a gap between them,
    `width` says how many numbers a record has, `damaged` counts sectors that are not whole.
    """

    place: int
    text: bytes = b""
    text_sectors: int = 0
    gap: bool = False  # in the texts: what is left of the settings may still look whole
    numbers: bytearray = field(default_factory=bytearray)
    width: int = 1
    damaged: int = 0

    @property
    def usable(self) -> bool:
        """Whether a recording can be made of it; without its texts its numbers mean nothing."""
        return self.records > 0 and self.texts() is not None

    def texts(self) -> list[Body] | None:
        """What the board said of itself, None where a part is missing or damaged."""
        if self.gap:
            return None
        found: list[Body] = []
        try:
            for (name, _), line in zip(TEXTS, self.text.splitlines(), strict=True):
                said = parsed(json.loads, line)[name]
                found.append({name: said["values"] if name == "settings" else said})
        except (KeyError, TypeError, ValueError):
            return None
        return found

    @property
    def records(self) -> int:
        """How many records it has."""
        return len(self.numbers) // (4 * self.width)

    def rows(self) -> Iterator[list[int]]:
        """The numbers of each record."""
        return (list(row) for row in struct.iter_unpack(f"<{self.width}i", self.numbers))


def empty_sector(number: int, place: int, size: int) -> bytes:
    """A sector of a file that a board may write to; the first one tells the size, in sectors."""
    data = WORDS.pack(MAGIC, number, place, EMPTY, 0, 0 if place else size, 0, 0)
    data += bytes(CHECKSUM - len(data))
    return data + struct.pack("<I", crc32(data))


def new_number() -> int:
    """A number for a file, by which no sector of an older one is taken for its own."""
    return random.SystemRandom().randrange(1, NUMBER_MAX)


def write_empty(path: Path, sectors: int, tell: Progress) -> int:
    """Write a file of so many sectors for a board, and return its size in bytes.

    Raises InputError where there is one, or no room; nothing of it is left then.
    """
    number = new_number()
    try:
        with path.open("xb") as file:
            try:
                for start in range(0, sectors, BATCH):
                    places = range(start, min(start + BATCH, sectors))
                    file.write(b"".join(empty_sector(number, place, sectors) for place in places))
                    tell(start / sectors)
                file.flush()
                os.fsync(file.fileno())
            except BaseException:
                path.unlink()
                raise
    except FileExistsError as error:
        raise InputError(f"{path}: is there already, and may hold a trace: read it and take it "
                         "away first") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
    return sectors * SECTOR


def sector_of(data: bytes) -> Sector | None:
    """A sector, None where it is not whole."""
    if len(data) != SECTOR:
        return None
    magic, number, place, kind, session, count, width, _ = WORDS.unpack_from(data)
    if magic != MAGIC or crc32(data[:CHECKSUM]) != struct.unpack_from("<I", data, CHECKSUM)[0]:
        return None
    return Sector(number, place, kind, session, count, width, data[PAYLOAD:CHECKSUM])


def trace_file(path: Path) -> Path:
    """trace.bin in the folder of a card, or the file itself."""
    return path / FILE_NAME if path.is_dir() else path


def read_sessions(path: Path) -> Iterator[CardSession]:
    """The sessions in a file. Raises InputError where it is none of ours, or not all there."""
    number = _number_of(path, read_start(path), path.stat().st_size // SECTOR)
    return _sessions_of(path, number, islice(_sectors(path), 1, None))


def read_start(path: Path) -> bytes:
    """The first two sectors of a file, or what there is of them. Raises InputError."""
    check_file(path, LARGEST_BYTES)
    try:
        with path.open("rb") as file:
            return file.read(2 * SECTOR)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def _sectors(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while batch := file.read(BATCH * SECTOR):
                for at in range(0, len(batch), SECTOR):
                    yield batch[at : at + SECTOR]
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def _sessions_of(path: Path, number: int, sectors: Iterable[bytes]) -> Iterator[CardSession]:
    """The sessions in the sectors behind the first; behind an empty one nothing was written."""
    damaged = 0
    session: CardSession | None = None
    for place, data in enumerate(sectors, 1):
        sector = sector_of(data)
        if sector is None or (sector.number, sector.place) != (number, place):
            damaged += 1
        elif sector.kind == EMPTY:
            break
        else:
            if session is None or session.place != sector.session:
                if session is not None:
                    yield session
                session = CardSession(sector.session)
            session.damaged += damaged
            damaged = 0
            _take(path, session, sector)
    if session is not None:
        session.damaged += damaged
        yield session


def _number_of(path: Path, start: bytes, size: int) -> int:
    """The number of a file of so many sectors; where the first is damaged, by the second."""
    first, second = sector_of(start[:SECTOR]), sector_of(start[SECTOR:])
    if first is None and second is not None and second.place == 1:
        return second.number
    if first is None or first.kind != EMPTY or first.place:
        raise InputError(f"{path}: is no trace of a board, {FILE_NAME} as `card prepare` makes it")
    if size < first.count:
        raise InputError(f"{path}: is not all there: {size} of {first.count} sectors; copy it "
                         "again")
    return first.number


def _take(path: Path, session: CardSession, sector: Sector) -> None:
    """Put what a sector carries to its session."""
    length = sector.count * (1 if sector.kind == HEAD else 4 * sector.width)
    if sector.kind not in (HEAD, RECORDS) or sector.width < 1 or \
            not 0 <= length <= len(sector.data):
        raise InputError(f"{path}: sector {sector.place}: is whole, but not of this version: a "
                         "newer firmware wrote it")
    if sector.kind == HEAD:
        session.gap = session.gap or sector.place != session.place + session.text_sectors
        session.text += sector.data[:length]
        session.text_sectors += 1
    else:
        session.width = sector.width
        session.numbers += sector.data[:length]


def recording_of(session: CardSession) -> bytes:
    """A usable session as a recording."""
    bodies: list[Body] = [{"recording": 1, "started": None, "port": "a card"},
                          *(session.texts() or ())]
    lines = [_line(number, body) for number, body in enumerate(bodies)]
    lines += [_line(number, {"telemetry": numbers})
              for number, numbers in enumerate(session.rows(), len(lines))]
    lines.append(_line(len(lines), {"power_off": 1, "damaged": session.damaged}))
    return b"".join(lines)


def is_of(recording: bytes, session: bytes) -> bool:
    """Whether a recording is of this session, or of its beginning; the last line is the end's."""
    records = recording.splitlines(keepends=True)[:-1]
    return bool(records) and session.startswith(b"".join(records))


def _line(number: int, body: Body) -> bytes:
    return record(number & SEQUENCE_MASK, json.dumps(body).encode())


def recording_name(session: CardSession) -> str:
    """The name of its file, the same whenever the card is read."""
    return f"trace_{session.place:07d}.rec"
