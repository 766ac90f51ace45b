"""How much the totals can lose in a power cut, through the application and a littlefs volume.

Flash may not be written while outputs are on. So the promise is about the time with outputs
off: once they have been off for a second, everything counted by then is kept, whatever comes.
With a memory that may be written at any time it holds for every second.
"""

import random

import pytest

from app.files import Files, MemorySlots
from app.store import TOTALS_SLOTS, Store
from rate_control.interlock import APPLYING, BENCH
from rate_control.totals import Totals
from rate_control.units import TICK_MS
from tests.support.flash_image import Flash, Volume, apply, new_image, torn
from tests.support.link_rig import ALL, MASTER, WORK, LinkRig

SECOND = 1000 // TICK_MS + 1  # ticks, and the one in which it is noticed
TICKS = 1200
SEEDS = range(4)


class Memory:
    """A memory that is written byte by byte, and a log of it."""

    size = 2048

    def __init__(self):
        self.content = bytearray(self.size)
        self.operations = []  # (place, byte)

    def read(self, offset, length):
        return bytes(self.content[offset : offset + length])

    def write(self, offset, data):
        for index, byte in enumerate(data):
            self.content[offset + index] = byte
            self.operations.append((offset + index, byte))


def counted(totals):
    """What a person reads off, in the smallest units; none of them ever falls."""
    registers = (totals.volume, totals.area, totals.distance, totals.time)
    return [register.whole * register.base + register.part for register in registers]


def passes(chance):
    """Switches tick by tick: passes and headlands of random length, some very short."""
    switches = [0] * 5
    while len(switches) < TICKS:
        switches += [WORK] * chance.randint(5, 120)
        switches += [MASTER | ALL] * chance.randint(1, 60)
    return switches[:TICKS]


class Drive:
    """A drive with everything that was counted and every operation on the flash, tick by tick."""

    def __init__(self, seed, memory=None):
        self.image = new_image()
        self.start = bytearray(self.image)
        flash = Flash(self.image)
        retained = MemorySlots(memory, TOTALS_SLOTS) if memory else None
        store = Store(Files(open_file=Volume(flash).open), retained)
        log = (memory or flash).operations
        rig = LinkRig(store)
        self.counted = []
        self.off = []
        self.operations = []
        for switches in passes(random.Random(seed)):
            rig.ticks(1, switches, 400, 100 if switches & WORK == WORK else 0)
            self.counted.append(counted(rig.application.controller.totals))
            self.off.append(rig.state not in (APPLYING, BENCH))
            self.operations.append(list(log))
            log.clear()
        assert self.counted[-1][0] > 0 and not store.problems

    def promised(self, tick):
        """What must survive a cut in this tick: all counted at the last safe moment."""
        for end in range(tick, SECOND, -1):
            if all(self.off[end - SECOND : end]):
                return self.counted[end - SECOND]
        return [0, 0, 0, 0]


def kept(image, retained=None):
    """What the store finds after power-up."""
    store = Store(Files(open_file=Volume(Flash(image)).open), retained)
    totals = Totals()
    store.load_totals(totals)
    assert not store.problems
    return counted(totals)


def at_least(found, promised):
    return all(number >= floor for number, floor in zip(found, promised, strict=True))


@pytest.mark.parametrize("seed", SEEDS)
def test_flash_keeps_all_but_the_last_second_with_outputs_off(seed):
    drive = Drive(seed)
    chance = random.Random(seed)
    image = drive.start
    written = 0
    for tick, operations in enumerate(drive.operations):
        promised = drive.promised(tick)
        for operation in operations:
            assert at_least(kept(bytearray(image)), promised), tick
            assert at_least(kept(torn(image, operation, chance)), promised), tick
            apply(image, operation)
            written += 1
        if tick % 25 == 0:
            found = kept(bytearray(image))
            assert at_least(found, promised), tick
            assert found in ([0, 0, 0, 0], *drive.counted[: tick + 1])
    assert written > 30
    assert image == drive.image


@pytest.mark.parametrize("seed", SEEDS)
def test_flash_is_written_only_with_outputs_off(seed):
    drive = Drive(seed)
    for tick, operations in enumerate(drive.operations):
        assert not operations or drive.off[tick]


@pytest.mark.parametrize("seed", SEEDS)
def test_retained_memory_keeps_all_but_the_last_second(seed):
    drive = Drive(seed, Memory())
    memory = Memory()
    slots = MemorySlots(memory, TOTALS_SLOTS)
    blank = new_image()
    written = 0
    for tick, operations in enumerate(drive.operations):
        promised = drive.counted[tick - SECOND] if tick > SECOND else [0, 0, 0, 0]
        for place, byte in operations:
            memory.content[place] = byte
            written += 1
            if written % 23 == 0:
                assert at_least(kept(blank, slots), promised), tick
        if tick % 10 == 0:
            assert at_least(kept(blank, slots), promised), tick
    assert written > 10_000
