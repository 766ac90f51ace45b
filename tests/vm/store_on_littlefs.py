"""Save on MicroPython's own littlefs in RAM, the power cut at every block operation.

Prints `cuts N old N`; raises where a document is neither the old one nor the new one.
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
ERASED = b"\xff" * BLOCK
FOLDER = "/volume"


# What a block device returns where it fails. Raising would not do: the file system still calls
# when the collector closes a file that was cut off.
NO_POWER = -5


class Flash:
    """A block device in RAM that fails for good after `budget` programs and erases."""

    def __init__(self, content):
        self.content = bytearray(content)
        self.budget = -1

    def _spend(self, offset, data):
        if self.budget == 0:
            return NO_POWER
        self.budget -= 1
        if self.budget == 0:  # the last one is cut short
            data = data[: len(data) // 3]
        self.content[offset : offset + len(data)] = data
        return 0

    def readblocks(self, block, buffer, offset=0):
        if self.budget == 0:
            return NO_POWER
        start = block * BLOCK + offset
        buffer[:] = self.content[start : start + len(buffer)]
        return 0

    def writeblocks(self, block, buffer, offset=0):
        return self._spend(block * BLOCK + offset, buffer)

    def ioctl(self, operation, block):
        if operation == 4:
            return BLOCKS
        if operation == 5:
            return BLOCK
        return self._spend(block * BLOCK, ERASED) if operation == 6 else 0


def used_totals(litres):
    """Totals after some work."""
    totals = Totals()
    for _ in range(litres):
        totals.add(1000000, 1000, 1, [1000] * 8, 1000)
    totals.add(0, 0, 0, [1000] * 8, 0)
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
    assert volume.store.save_settings(settings(11000)) == ""
    assert volume.found() == (11000, pack(used_totals(11)))
    return volume.unmount()


def cut_everywhere(before, litres):
    """Save settings and totals from this image on, with an ever later cut.

    Returns the image with both saved, how many cuts were tried and how many left the old.
    """
    old = (litres * 1000, pack(used_totals(litres)))
    new = (litres * 1000 + 1000, pack(used_totals(litres + 1)))
    half = (new[0], old[1])
    budget = 0
    left_old = 0
    while True:
        volume = Volume(before)
        volume.flash.budget = budget
        volume.store.save_settings(settings(new[0]))
        through = volume.store.save_totals(used_totals(litres + 1)) == ""
        image = volume.unmount()
        volume = Volume(image)
        found = volume.found()
        volume.unmount()
        assert found in (old, half, new), (budget, found)
        left_old += found == old
        if through:
            assert found == new
            return image, budget, left_old
        budget += 1


def main():
    """Go through enough saves for the volume to compact its blocks."""
    image = image_before()
    cuts = old = 0
    for litres in range(11, 41):
        image, more_cuts, more_old = cut_everywhere(image, litres)
        cuts += more_cuts
        old += more_old
    print("cuts %d old %d" % (cuts, old))


main()
