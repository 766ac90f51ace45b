"""The file on an SD card that the trace goes to: trace.bin, laid out beforehand by a computer.

The card stays readable for every computer, and nothing of its file system is ever written here:
no power cut can harm it. The file lies in one piece, and every sector of it says so itself, with
the number of the file and its own place in it. A sector is read before it is written, and is
written once: what is not an empty sector of this file is never written over, whatever card it is.

Words of a sector, four bytes each, low byte first: MAGIC, number of the file, place in the file,
kind, session (the place of its first sector), count, width; the last is a CRC-32 of all before. The
first sector's count is that of all sectors.

Source of the file system: Microsoft's FAT32 File System Specification, version 1.03, from memory.
"""

from app.sd_card import AGAIN, DONE, CardError

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.sd_card import SdCard

NAME = b"TRACE   BIN"
MAGIC = 0x01435254  # TRC and the version
EMPTY, HEAD, RECORDS = range(3)  # kinds
FOREIGN, UNKNOWN = -1, -2
SPOILT = 4  # sectors in a row that a power cut may leave as no sectors of this file
NO_FILE_SYSTEM = "card: no FAT32 on it"
NO_FILE = "card: no trace.bin, prepare it at a computer"
NO_TRACE = "card: trace.bin is damaged or in pieces"

_ENTRY = 32
_NO_FILE = 0x18  # of the attributes: a volume's name, a folder


class CardFile:
    """trace.bin of one card. end is where its first empty sector is, size how many it has."""

    def __init__(self, card: "SdCard") -> None:
        self.card = card
        self.number = 0
        self.size = 0
        self.end = 1
        self._first = 0  # sector of the card
        self._at = 0  # sector that is read next
        self._volume = 0
        self._data = self._cluster = 0  # first sector of the files, sectors of a cluster
        self._left = 0  # sectors of the root folder
        self._above = 0  # place from which on all is empty, as far as is known
        self._spoilt = 0  # sectors in a row

    def find(self) -> int:
        """Look for the file by a step, and for its end. Raises CardError."""
        if self.size:
            return self._seek()
        card = self.card
        if card.read(self._at) == AGAIN:
            return AGAIN
        if self._first:
            self._open()
        elif self._left:
            self._look_up()
        else:
            self._mount()
        return AGAIN

    def _mount(self) -> None:
        """Find the root folder by the first sector of the card, or of its first partition."""
        sector = self.card.sector
        if _number(sector, 510, 2) != 0xAA55:
            raise CardError(NO_FILE_SYSTEM)
        if sector[82:87] != b"FAT32":
            if self._volume or sector[450] not in (0x0B, 0x0C):
                raise CardError(NO_FILE_SYSTEM)
            self._volume = self._at = _number(sector, 454, 4)
            return
        if _number(sector, 11, 2) != 512:
            raise CardError(NO_FILE_SYSTEM)
        self._left = self._cluster = sector[13]
        self._data = self._at + _number(sector, 14, 2) + sector[16] * _number(sector, 36, 4)
        self._at = self._sector_of(_number(sector, 44, 4))

    def _sector_of(self, cluster: int) -> int:
        return self._data + (cluster - 2) * self._cluster

    def _look_up(self) -> None:
        """Look for the file among the entries of a sector of the root folder."""
        sector = self.card.sector
        for at in range(0, len(sector), _ENTRY):
            if sector[at : at + 11] == NAME and not sector[at + 11] & _NO_FILE:
                cluster = _number(sector, at + 20, 2) << 16 | _number(sector, at + 26, 2)
                self._above = _number(sector, at + 28, 4) // len(sector)
                self._first = self._at = self._sector_of(cluster)
                return
        self._at += 1
        self._left -= 1
        if not self._left:
            raise CardError(NO_FILE)

    def _open(self) -> None:
        """Take what the first sector of the file says."""
        sector = self.card.sector
        self.number = _number(sector, 4, 4)
        if _number(sector, 0, 4) != MAGIC or _number(sector, 8, 4) or self._above < 2 or \
                _number(sector, 20, 4) != self._above:
            raise CardError(NO_TRACE)
        self.size = self._above

    def _seek(self) -> int:
        """Halve where the end may be: below end all is written, from _above on all is empty."""
        if self.end >= self._above:
            return DONE
        middle = (self.end + self._above) // 2
        place = middle + self._spoilt  # a spoilt one says nothing, so the next one is asked
        kind = EMPTY if place >= self._above else self.kind(place)
        if kind == FOREIGN:
            self.pass_spoilt()
        elif kind != UNKNOWN:
            self._spoilt = 0
            if kind == EMPTY:
                self._above = middle
            else:
                self.end = place + 1
        return AGAIN

    def pass_spoilt(self) -> None:
        """Count a sector that is not of this file. Raises CardError where that is no accident."""
        self._spoilt += 1
        if self._spoilt > SPOILT:
            raise CardError(NO_TRACE)

    def read(self, place: int, whole: int = 1) -> int:
        """Read a sector of the file, or its head alone, as the card does. Raises CardError."""
        return self.card.read(self._first + place, whole)

    def kind(self, place: int) -> int:
        """Return the kind of a sector of the file, UNKNOWN where it has to be asked again."""
        if self.read(place, 0) == AGAIN:
            return UNKNOWN
        head = self.card.head
        if _number(head, 0, 4) != MAGIC or _number(head, 4, 4) != self.number or \
                _number(head, 8, 4) != place:
            return FOREIGN
        return _number(head, 12, 4)

    def make_room(self) -> int:
        """See by a step that the sector at the end is empty, or go on to the next."""
        kind = self.kind(self.end)
        if kind == EMPTY:
            self._spoilt = 0
            return DONE
        if kind != UNKNOWN:
            self.pass_spoilt()
            self.end += 1
        return AGAIN

    def write(self) -> int:
        """Write the card's sector to the end of the file, which is empty. Raises CardError."""
        if self.card.write(self._first + self.end) == AGAIN:
            return AGAIN
        self.end += 1
        return DONE


def _number(data: bytearray, at: int, size: int) -> int:
    """Return a number of size bytes, low byte first."""
    number = 0
    for index in range(size):
        number |= data[at + index] << 8 * index
    return number
