"""The trace on the card of a board, brought home over the cable with the card left where it is.

The board's own driver reads it; what has come home before is not asked for again.
"""

from __future__ import annotations

import binascii
from collections.abc import Iterator
from pathlib import Path

from app.sd_card import SECTOR
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.common.errors import InputError
from host_sim.common.progress import Progress
from host_sim.common.reading import check_file
from host_sim.runs.card_trace import FILE_NAME, LARGEST_BYTES, empty_sector, sector_of

BATCH = 500  # sectors that are asked for at once, some five seconds

# Prints "card" with number and sectors written, "problem" and why not, or nothing.
FIND = """
import boards
from time import sleep_ms
def wait(step, *arguments):
    for _ in range(3000):
        if step(*arguments):
            return
        sleep_ms(1)
    raise CardError("card: does not answer")
try:
    from app.sd_card import CardError, SdCard
    from app.card_file import CardFile
    board = boards.chosen()
    port = board.card_port()
except (ImportError, AttributeError):
    port = None
if port is not None:
    try:
        card = SdCard(port)
        file = CardFile(card)
        wait(card.start)
        wait(file.find)
        print("card", file.number, file.end)
    except CardError as error:
        print("problem", error.args[0])
"""
# Prints a line for each of some sectors.
READ = """
from binascii import b2a_base64
for place in range({first}, {end}):
    wait(file.read, place)
    print(b2a_base64(card.sector).decode().strip())
"""


class NoTrace(Exception):
    """There is a socket for a card, and no trace in it; the text says why."""


def fetch_trace(port: MpremotePort, folder: Path, tell: Progress) -> Path | None:
    """Bring the trace home into a file of the folder, which grows; None where no card is wired.

    Raises NoTrace, BoardError, and InputError where the trace of another card is there already.
    """
    words = port.execute(FIND).split(None, 1)
    if words[:1] == ["problem"]:
        raise NoTrace(words[1].strip())
    if words[:1] != ["card"]:
        return None
    number, end = (int(word) for word in words[1].split())
    path = folder / FILE_NAME
    have = _before(path, number)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("r+b" if have else "wb") as file:
            # as many sectors as will have come home; fewer, and it is read as not all there
            file.write(empty_sector(number, 0, end))
            file.seek(max(have, 1) * SECTOR)
            for first in range(max(have, 1), end, BATCH):
                last = min(first + BATCH, end)
                file.write(b"".join(_read(port, first, last)))
                tell(last / end)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
    return path


def _before(path: Path, number: int) -> int:
    """How many whole sectors have come home before."""
    if not path.exists():
        return 0
    check_file(path, LARGEST_BYTES)
    with path.open("rb") as file:
        head = file.read(SECTOR)
    first = sector_of(head) if len(head) == SECTOR else None
    if first is None or first.number != number:
        raise InputError(f"{path}: is there already and is not of this card: give another folder")
    return path.stat().st_size // SECTOR


def _read(port: MpremotePort, first: int, end: int) -> Iterator[bytes]:
    """Some sectors. Raises BoardError where they do not come."""
    lines = port.execute(READ.format(first=first, end=end), keep=True).split()
    if len(lines) != end - first:
        raise BoardError(f"{port.port}: {len(lines)} of {end - first} sectors of the card came")
    for line in lines:
        try:
            sector = binascii.a2b_base64(line, strict_mode=True)
        except binascii.Error as error:
            raise BoardError(f"{port.port}: a sector of the card came damaged") from error
        if len(sector) != SECTOR:
            raise BoardError(f"{port.port}: a sector of the card came damaged")
        yield sector
