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

    `text` and `numbers` are as they came, `width` says how many numbers a record has, `damaged`
    counts sectors that are not whole.
    """

    place: int
    text: bytes = b""
    numbers: bytearray = field(default_factory=bytearray)
    width: int = 1
    damaged: int = 0

    @property
    def whole(self) -> bool:
        """Whether its texts are all there; without them its numbers mean nothing."""
        return self.text.count(b"\n") == len(TEXTS)

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
    check_file(path, LARGEST_BYTES)
    if path.stat().st_size < SECTOR:
        _opened(path, None, 0)
    return sessions_of(path, _sectors(path), path.stat().st_size // SECTOR)


def _sectors(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while batch := file.read(BATCH * SECTOR):
                for at in range(0, len(batch), SECTOR):
                    yield batch[at : at + SECTOR]
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def sessions_of(path: Path, sectors: Iterable[bytes], size: int) -> Iterator[CardSession]:
    """The sessions in so many sectors; what lies behind the first empty one was never written."""
    number = 0
    damaged = 0
    session: CardSession | None = None
    for place, data in enumerate(sectors):
        sector = sector_of(data)
        if place == 0:
            number = _opened(path, sector, size)
        elif sector is None or (sector.number, sector.place) != (number, place):
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


def _opened(path: Path, sector: Sector | None, size: int) -> int:
    """The number of a file, by its first sector."""
    if sector is None or sector.kind != EMPTY or sector.place:
        raise InputError(f"{path}: is no trace of a board, {FILE_NAME} as `card prepare` makes it")
    if size < sector.count:
        raise InputError(f"{path}: is not all there: {size} of {sector.count} sectors; copy it "
                         "again")
    return sector.number


def _take(path: Path, session: CardSession, sector: Sector) -> None:
    """Put what a sector carries to its session."""
    length = sector.count * (1 if sector.kind == HEAD else 4 * sector.width)
    if sector.kind not in (HEAD, RECORDS) or sector.width < 1 or \
            not 0 <= length <= len(sector.data):
        raise InputError(f"{path}: sector {sector.place}: is whole, but not of this version: a "
                         "newer firmware wrote it")
    if sector.kind == HEAD:
        session.text += sector.data[:length]
    else:
        session.width = sector.width
        session.numbers += sector.data[:length]


def recording_of(path: Path, session: CardSession) -> bytes:
    """A whole session as a recording. Raises InputError where its texts are none of a board."""
    bodies: list[Body] = [{"recording": 1, "started": None, "port": "a card"}]
    try:
        for (name, _), line in zip(TEXTS, session.text.splitlines(), strict=True):
            found = parsed(json.loads, line)[name]
            bodies.append({name: found["values"] if name == "settings" else found})
        lines = [_line(number, body) for number, body in enumerate(bodies)]
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(f"{path}: sector {session.place}: its texts are not those of a board: "
                         f"{error}") from error
    lines += [_line(number, {"telemetry": numbers})
              for number, numbers in enumerate(session.rows(), len(lines))]
    lines.append(_line(len(lines), {"power_off": 1, "damaged": session.damaged}))
    return b"".join(lines)


def _line(number: int, body: Body) -> bytes:
    return record(number & SEQUENCE_MASK, json.dumps(body).encode())


def recording_name(session: CardSession) -> str:
    """The name of its file, the same whenever the card is read."""
    return f"trace_{session.place:07d}.rec"
