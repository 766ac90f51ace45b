"""A card as a computer prepares it: FAT32, and trace.bin on it; sectors are made when asked for."""

from __future__ import annotations

import math
import struct
from pathlib import Path

from app.card_file import NAME
from host_sim.common.errors import InputError
from host_sim.common.output import check_target
from host_sim.runs.card_trace import SECTORS_AN_HOUR, empty_sector, read_start, sector_of
from host_sim.twin.card_chip import SECTOR, CardChip

PARTITION = 2048
RESERVED = 32
CLUSTER = 8  # sectors
CLUSTERS = 65600  # with fewer than 65525 it would be no FAT32
FAT = -(-4 * (CLUSTERS + 2) // SECTOR)
DATA = PARTITION + RESERVED + 2 * FAT
FILE_CLUSTER = 3
ROOMY = 2  # where a position is followed a sector holds fewer records
TEXT_SECTORS = 100
NUMBER = 4711  # of the file of a simulated card; `card prepare` draws one for a real card
FILE = DATA + (FILE_CLUSTER - 2) * CLUSTER  # first sector of trace.bin


class PreparedCard(CardChip):
    """A card with a trace.bin of so many sectors, at most half a million."""

    def __init__(self, sectors: int, number: int = NUMBER) -> None:
        self.file_sectors = sectors
        self.number = number
        super().__init__(DATA + CLUSTERS * CLUSTER)
        self.sectors[0] = _ended(bytes(446) + struct.pack(
            "<8BII", 0, 0, 0, 0, 0x0C, 0, 0, 0, PARTITION, self.size - PARTITION))
        volume = struct.pack("<3s8sHBHBHHBHHHIIIHHIHH12s3BI11s8s", b"\xeb\x58\x90", b"        ",
                             SECTOR, CLUSTER, RESERVED, 2, 0, 0, 0xF8, 0, 63, 255, PARTITION,
                             self.size - PARTITION, FAT, 0, 0, 2, 1, 6, b"", 0x80, 0, 0x29, number,
                             b"NO NAME    ", b"FAT32   ")
        self.sectors[PARTITION] = _ended(volume)
        label = b"FIELD 7    " + bytes([0x08]) + bytes(20)
        entry = NAME + struct.pack("<B8xH4xHI", 0x20, 0, FILE_CLUSTER, sectors * SECTOR)
        self.sectors[DATA] = (label + entry).ljust(SECTOR, b"\0")

    def blank(self, number: int) -> bytes:
        place = number - FILE
        if 0 <= place < self.file_sectors:
            return empty_sector(self.number, place, self.file_sectors)
        return bytes(SECTOR)

    def trace(self) -> list[bytes]:
        """What trace.bin holds."""
        return [self.read(FILE + place) for place in range(self.file_sectors)]


def card_for(seconds: float) -> PreparedCard:
    """A card with room for so long a drive, and for a good deal more than its texts."""
    return PreparedCard(math.ceil(seconds / 3600 * SECTORS_AN_HOUR * ROOMY) + TEXT_SECTORS)


def check_card_target(path: Path) -> None:
    """Raise InputError where another file than a simulated trace would be written over."""
    check_target(path)
    if path.exists():
        first = sector_of(read_start(path)[:SECTOR])
        if first is None or first.number != NUMBER:
            raise InputError(f"{path}: is there already and is no trace of the twin: it is not "
                             "written over")


def _ended(data: bytes) -> bytes:
    """A sector with the mark of what a computer starts from at its end."""
    return data.ljust(SECTOR - 2, b"\0") + b"\x55\xaa"
