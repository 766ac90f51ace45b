"""Fill, write and read sectors of a card with the heap locked. For MicroPython.

Prints `sectors N bytes N`: neither the driver allocates, nor what puts records into a sector.
"""

import gc

import micropython

from app.card_trace import SectorWriter
from app.sd_card import DONE, SdCard
from app.telemetry import NAMES, Telemetry
from tests.support.link_rig import WORK, LinkRig

SECTORS = 50
# What the line carries in single bytes: ready, no error; then the token of data and two of a
# checksum; or nothing to two bytes, two of a checksum, accepted.
READ = (0xFF, 0x00, 0xFE, 0xFF, 0xFF)
WRITE = (0xFF, 0x00, 0xFF, 0xFF, 0xFF, 0xFF, 0xE5)


class Line:
    """A port on which a card says what it must."""

    def __init__(self):
        self.held = self.at = 0
        self.said = READ

    def select(self):
        """See app.sd_card.CardPort."""
        self.held = 1
        self.at = 0

    def release(self):
        """See app.sd_card.CardPort."""
        self.held = 0

    def exchange(self, out, back):
        """See app.sd_card.CardPort."""
        if len(out) == 1:
            back[0] = self.said[self.at]
            self.at += 1


def main():
    """Tick unlocked, do everything else locked."""
    rig = LinkRig()
    rig.ticks(5, 0)
    line = Line()
    card = SdCard(line)
    writer = SectorWriter(card.sector)
    writer.widen(len(NAMES))
    telemetry = Telemetry(rig.application, writer)
    telemetry.every = 1
    made = done = allocated = 0
    for number in range(SECTORS):
        rig.ticks(writer.room, WORK, 400, 100, polls=0)
        before = gc.mem_alloc()
        micropython.heap_lock()
        try:
            writer.clear()
            while writer.count < writer.room and telemetry.poll(True, 0):
                made += 1
            line.said = READ
            done += card.read(number, 0) == DONE
            line.said = WRITE
            done += card.write(number) == DONE
        finally:
            micropython.heap_unlock()
        allocated += gc.mem_alloc() - before
    assert made == SECTORS * writer.room and done == 2 * SECTORS, (made, done)
    print("sectors %d bytes %d" % (SECTORS, allocated))


main()
