"""Power cut at every block operation of random save sequences: each document is old or new."""

import random
import re

import pytest

from app.files import Files
from app.store import Store
from host_sim.build.interpreters import MICROPYTHON_64, run_on
from rate_control.controller import Controller
from rate_control.settings import COUNT, HIGH, LOW, NAME, TABLE, build
from rate_control.totals import Totals
from tests.support.flash_image import Flash, Volume, apply, cuts, new_image, torn

SEQUENCES = 200
BATCHES = 4  # parallel pieces of the sequences
SAVES = 8
AT_REST = Controller(build({})[0])


def store_on(image):
    """A store as after power-up, and the flash below it."""
    flash = Flash(image)
    store = Store(Files(open_file=Volume(flash).open))
    store.attach(AT_REST)
    return store, flash


def random_settings(chance, base):
    """Permitted settings that differ from base in a few values."""
    while True:
        changes = {}
        for entry in chance.sample(TABLE, 4):
            if entry[COUNT] == 1:
                changes[entry[NAME]] = chance.randint(entry[LOW], entry[HIGH])
        settings, problems = build(changes, base)
        if not problems:
            return settings


def grow(totals, chance):
    """Use the totals as a pass does."""
    widths = [chance.randint(500, 3000) for _ in range(8)]
    mask = chance.randint(1, 255)
    width = sum(w for i, w in enumerate(widths) if mask >> i & 1)
    for _ in range(chance.randint(1, 20)):
        totals.add(chance.randint(0, 20000), chance.randint(0, 500), mask, widths, width)


def state_of(totals):
    """The kept numbers of totals, by another way than the store's."""
    singles = (totals.volume, totals.area, totals.distance, totals.time, totals.bench_volume)
    registers = [*singles, *totals.section_volume, *totals.section_area]
    return [(register.whole, register.part) for register in registers]


def recovered(image):
    """(settings, totals) as the store finds them after power-up."""
    store, _ = store_on(image)
    totals = Totals()
    settings = store.load_settings()
    store.load_totals(totals)
    assert not store.problems, store.problems
    return settings, state_of(totals)


def run_sequence(seed):
    """Save at random, cut at every block operation; returns how many cuts were tried."""
    chance = random.Random(seed)
    image = new_image()
    store, flash = store_on(image)
    settings, totals = build({})[0], Totals()
    for _ in range(chance.randrange(30)):  # age the volume, so that it has to compact
        grow(totals, chance)
        assert store.save_totals(totals) == ""
    assert store.save_settings(settings.as_dict()) == ""
    kept = (settings.as_dict(), state_of(totals))
    tried = 0
    if not any(kept[1][0]):
        assert store.save_totals(totals) == ""
    for _ in range(SAVES):
        flash.operations.clear()
        before = bytearray(image)
        if chance.random() < 0.4:
            settings = random_settings(chance, settings)
            assert store.save_settings(settings.as_dict()) == ""
        else:
            grow(totals, chance)
            assert store.save_totals(totals) == ""
        wanted = (settings.as_dict(), state_of(totals))
        for index, left in cuts(before, flash.operations, chance):
            found = recovered(left)
            assert found in (kept, wanted), f"seed {seed}, operation {index}"
            tried += 1
        assert before == image, "the cuts did not follow what the flash did"
        assert recovered(image) == wanted
        kept = wanted
        if chance.random() < 0.3:
            store, flash = store_on(image)
            store.load_settings()
            store.load_totals(Totals())
    return tried


@pytest.mark.parametrize("batch", range(BATCHES))
def test_cut_at_every_block_operation_leaves_old_or_new(batch, record_property):
    tried = sum(run_sequence(seed) for seed in range(batch, SEQUENCES, BATCHES))
    assert tried > SEQUENCES // BATCHES * SAVES * 4
    record_property("summary", f"power cuts survived, batch {batch}: {tried}")


def test_store_goes_on_after_a_cut():
    """The save after a cut succeeds, and the one after a second cut too."""
    chance = random.Random(1)
    image = new_image()
    totals = Totals()
    for _ in range(60):
        store, flash = store_on(image)
        grow(totals, chance)
        whole = bytearray(image)
        assert store.save_totals(totals) == ""
        stop = chance.randrange(len(flash.operations))
        for operation in flash.operations[:stop]:
            apply(whole, operation)
        image = torn(whole, flash.operations[stop], chance)
    store, _ = store_on(image)
    assert store.save_totals(totals) == ""
    assert recovered(image)[1] == state_of(totals)


def test_micropythons_own_littlefs_survives_every_cut(record_property):
    line = run_on(MICROPYTHON_64, "tests/vm/store_on_littlefs.py").stdout
    cut_count, old = map(int, re.findall(r"\d+", line))
    assert cut_count > 150 and old
    record_property("summary", f"power cuts survived on MicroPython's littlefs: {cut_count}")
