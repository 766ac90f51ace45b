"""Save on MicroPython's own littlefs in RAM, the power cut at every block operation.

Prints `cuts N old N new N`; raises where a document is neither the old one nor the new one.
"""

import os

from app.files import Files
from app.kept_totals import pack
from app.store import Store
from rate_control.controller import Controller
from rate_control.settings import build
from rate_control.totals import Totals

BLOCK = 4096
BLOCKS = 16
FOLDER = "/volume"


# Made beforehand: the file system still calls when the collector closes a file that was cut
# off, and nothing may be allocated then.
NO_POWER = OSError(5)


class Flash:
    """A block device in RAM that fails for good after `budget` programs and erases."""

    def __init__(self, content):
        self.content = bytearray(content)
        self.budget = -1

    def _spend(self, offset, data):
        if self.budget == 0:
            raise NO_POWER
        self.budget -= 1
        if self.budget == 0:  # the last one is cut short
            data = data[: len(data) // 3]
        self.content[offset : offset + len(data)] = data

    def readblocks(self, block, buffer, offset=0):
        if self.budget == 0:
            raise NO_POWER
        start = block * BLOCK + offset
        buffer[:] = self.content[start : start + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        self._spend(block * BLOCK + offset, buffer)

    def ioctl(self, operation, block):
        if operation == 4:
            return BLOCKS
        if operation == 5:
            return BLOCK
        if operation == 6:
            self._spend(block * BLOCK, b"\xff" * BLOCK)
        return 0


def used_totals(litres):
    """Totals after some work."""
    totals = Totals()
    totals.add_volume(1000000 * litres, 1, [1000] * 8, 1000)
    totals.add_ground(1000 * litres, 50, 1, [1000] * 8, 1000)
    return totals


class Volume:
    """The flash, mounted, with a store on it."""

    def __init__(self, content):
        self.flash = Flash(content)
        os.mount(os.VfsLfs2(self.flash, progsize=256), FOLDER)
        self.store = Store(Files(FOLDER + "/"))
        self.store.attach(Controller(build({})[0]))

    def unmount(self):
        """Let go of it, as a power cut does."""
        os.umount(FOLDER)
        return self.flash.content

    def found(self):
        """The kept rate and totals."""
        totals = Totals()
        self.store.load_totals(totals)
        return self.store.load_settings().get("rate_ml_ha"), pack(totals)


def settings(rate_ml_ha):
    return build({"rate_ml_ha": rate_ml_ha})[0].as_dict()


def image_before():
    """A volume that was used for a while."""
    blank = Flash(b"\xff" * (BLOCK * BLOCKS))
    os.VfsLfs2.mkfs(blank, progsize=256)
    volume = Volume(blank.content)
    for litres in range(1, 12):
        assert volume.store.save_totals(used_totals(litres)) == ""
    assert volume.store.save_settings(settings(50000)) == ""
    assert volume.found() == (50000, pack(used_totals(11)))
    return volume.unmount()


def main():
    """Save settings and totals with an ever later cut, until both are through."""
    before = image_before()
    old = (50000, pack(used_totals(11)))
    half = (60000, pack(used_totals(11)))
    new = (60000, pack(used_totals(12)))
    outcomes = []
    budget = 0
    while new not in outcomes[-1:] or budget < 3:
        volume = Volume(before)
        volume.flash.budget = budget
        volume.store.save_settings(settings(60000))
        volume.store.save_totals(used_totals(12))
        volume = Volume(volume.unmount())
        found = volume.found()
        volume.unmount()
        assert found in (old, half, new), (budget, found)
        outcomes.append(found)
        budget += 1
    assert outcomes[0] == old
    print("cuts %d old %d new %d" % (len(outcomes), outcomes.count(old), outcomes.count(new)))


main()
