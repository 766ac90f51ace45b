"""Write a file onto a FAT32 of 8 GB by MicroPython's own driver of it, and print the sectors.

    card_fat.py FILE BEFORE

FILE is put there as trace.bin, behind another file of BEFORE clusters. Printed is a line for each
sector that is not all zeros: its number, and its content in hexadecimal.
"""

import os
import sys
from binascii import hexlify

SECTOR = 512
COUNT = 16 * 1024 * 1024


class Card:
    """A block device that keeps what is not zero."""

    def __init__(self):
        self.sectors = {}

    def readblocks(self, number, data, offset=0):
        """See vfs.AbstractBlockDev."""
        for at in range(0, len(data), SECTOR):
            data[at : at + SECTOR] = self.sectors.get(number + at // SECTOR, bytes(SECTOR))

    def writeblocks(self, number, data, offset=0):
        """See vfs.AbstractBlockDev."""
        for at in range(0, len(data), SECTOR):
            piece = bytes(data[at : at + SECTOR])
            if any(piece):
                self.sectors[number + at // SECTOR] = piece
            else:
                self.sectors.pop(number + at // SECTOR, None)

    def ioctl(self, what, _):
        """See vfs.AbstractBlockDev."""
        return {4: COUNT, 5: SECTOR}.get(what, 0)


with open(sys.argv[1], "rb") as source:
    trace = source.read()
card = Card()
os.VfsFat.mkfs(card)
volume = os.VfsFat(card)
with volume.open("/a photograph with a long name.jpg", "wb") as file:
    for _ in range(int(sys.argv[2])):
        file.write(b"\xa5" * 4096)
with volume.open("/trace.bin", "wb") as file:
    file.write(trace)
volume.umount()
for number in sorted(card.sectors):
    print(number, hexlify(card.sectors[number]).decode())
