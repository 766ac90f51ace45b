"""Firmware and contract on an emulated RP2040 with the image that was given; skipped without."""

import shutil

import pytest

from tests.chip.emulated_chip import EmulatedChip, ShiftRegisters
from tests.chip.programs import APPLICATION, DISPLAYS, DRIVING, LOCKED, QUIET, TIMES
from tests.repo.tree import ROOT

SPEED, FLOW, TEST = 18, 19, 22
PUMP, VALVE_OPEN, VALVE_CLOSE, SECTIONS_OFF, LATCH = 7, 8, 9, 6, 5
ON_BOARD = ("contract.py", "bench.py", "on_board.py")
MUST_PASS = {
    "outputs off at start", "clock", "reset cause", "pulse wires", "pulses lost",
    "edge times", "pump duty", "valve pulse", "sections", "make safe",
    "make safe in the tick", "tick heap", "tick on time",
}  # fmt: skip
BOOT_S = 5
TICK_LIMIT_US = 6000

# The emulator's PIO falls behind while the processor sleeps, so the bench waits awake; its clock
# then still loses up to 0.2 % against the timer.
CONTRACT = """
import tests.contract.on_board as bench
from time import ticks_diff, ticks_us
def awake(us):
    start = ticks_us()
    while ticks_diff(ticks_us(), start) < us:
        pass
bench.sleep_us = awake
bench.main(clock_ppm=2000)
"""


@pytest.fixture(scope="module")
def bench_files(frozen, firmware_files, tmp_path_factory):
    """The firmware without boot.py and main.py, and the contract beside it."""
    if frozen:
        pytest.skip("a frozen main.py starts by itself: the bench needs an image without it")
    folder = tmp_path_factory.mktemp("flash")
    shutil.copytree(firmware_files, folder, dirs_exist_ok=True)
    (folder / "boot.py").unlink()
    (folder / "main.py").unlink()
    contract = folder / "tests" / "contract"
    contract.mkdir(parents=True)
    for name in ON_BOARD:
        shutil.copyfile(ROOT / "tests" / "contract" / name, contract / name)
    return folder


@pytest.fixture
def chip(uf2, bench_files):
    """A chip with every wire of the bench in place."""
    with EmulatedChip(uf2, bench_files) as chip:
        chip.wire(TEST, SPEED, FLOW)
        for pin in (PUMP, VALVE_OPEN, VALVE_CLOSE, SECTIONS_OFF):
            chip.wire(pin, pin)
        chip.registers = ShiftRegisters(chip)
        yield chip


def test_contract_holds_on_the_emulated_chip(chip, record_property):
    """The file that runs on hardware, with the firmware's bytecode, PIO, DMA and hard timer."""
    told = chip.run(CONTRACT).splitlines()
    for line in told:
        record_property("summary", f"emulated RP2040  {line}")
    outcomes = {line.split(" ", 1)[1].split(": ")[0]: line for line in told}
    passed = {name for name in MUST_PASS if any(line.startswith(f"PASS {name}") for line in told)}
    assert not [line for line in told if line.startswith("FAIL")]
    assert passed == MUST_PASS, outcomes


def test_a_missing_wire_is_skipped(uf2, bench_files):
    with EmulatedChip(uf2, bench_files) as chip:
        ShiftRegisters(chip).plugged = False
        told = chip.run(CONTRACT).splitlines()
    skipped = {line.split(": ")[0] for line in told if line.startswith("SKIP")}
    assert "SKIP sections" in skipped
    assert any(line.startswith("SKIP pulses lost") for line in told)


@pytest.fixture(scope="module")
def applying(uf2, bench_files):
    """A chip with an application that can be driven with eight sections."""
    with EmulatedChip(uf2, bench_files) as chip:
        ShiftRegisters(chip)
        chip.run(QUIET + APPLICATION + DRIVING)
        yield chip


def rows_of(told):
    """(name, mean, longest) in microseconds, of each line of figures."""
    return [(name, int(mean), int(most)) for name, mean, most in
            (line.split(";") for line in told.splitlines())]


@pytest.mark.parametrize("actuator", range(3))
def test_tick_with_eight_sections_allocates_nothing(actuator, applying):
    told = applying.run(f"""
drive({actuator})
import micropython
for _ in range(10):
    application._unpolled_ticks = 0
    micropython.heap_lock()
    application.tick(0)
    micropython.heap_unlock()
print(application._tick_error)
""")
    assert told.split() == ["None"]


def test_tick_is_within_its_bound_for_every_actuator_and_over_a_headland(
    applying, record_property
):
    rows = rows_of(applying.run(TIMES))
    for name, mean, most in rows:
        record_property("summary", f"emulated RP2040 at 125 MHz  {name:32} {mean:6} us, "
                                   f"the longest {most:6}")
    ticks = {name: most for name, _, most in rows if not name.startswith("board")}
    assert len(ticks) == 6
    assert max(ticks.values()) <= TICK_LIMIT_US, ticks


def test_a_drawing_leaves_the_tick_within_its_bound(applying, record_property):
    """The tick interrupts a drawing; what is left to it is the memory of names."""
    rows = rows_of(applying.run("drive(0)\n" + DISPLAYS))
    for name, mean, most in rows:
        record_property("summary", f"emulated RP2040 at 125 MHz  {name:32} {mean:6} us, "
                                   f"the longest {most:6}")
    after = [most for name, _, most in rows if name.endswith("tick after a drawing")]
    assert len(after) == 2
    assert max(after) <= TICK_LIMIT_US


def test_gnss_receiver_on_the_uart_comes_to_the_inputs(chip):
    chip.run(QUIET + APPLICATION)
    for byte in b"$GPVTG,,T,,M,9.7,N,18.0,K,A*14\r\n":
        chip.mcu.uart[0].feed_byte(byte)
        chip.run("pass")
    told = chip.run("""
job = [row for row in application.jobs._table if row[0] == "gnss"][0]
job[2]()
told = application.inputs.reports[0]
print(told.count, told.trusted, told.speed_mm_s)
""")
    assert told.split() == ["1", "1", "4990"]


def test_boot_leaves_outputs_off_and_heap_free(uf2, firmware_files, record_property):
    """boot.py and main.py unmodified; then what is left of the heap."""
    with EmulatedChip(uf2, firmware_files) as chip:
        ShiftRegisters(chip).plugged = False
        chip.live(BOOT_S)
        assert chip.drives(PUMP) and not chip.output(PUMP)
        assert chip.output(SECTIONS_OFF) == 1
        told = chip.run("""
import gc
gc.collect()
print(gc.mem_free(), gc.mem_alloc(), board.reset_cause())
""")
    free, used, cause = told.split()
    record_property("summary", f"emulated RP2040  heap after boot: {used} used, {free} free")
    assert cause == "power"


def test_frozen_controller_runs_on_a_locked_heap(uf2, frozen, tmp_path, record_property):
    """A number that freezing made a long one would end the first tick."""
    if not frozen:
        pytest.skip("the image has no firmware frozen in")
    with EmulatedChip(uf2, tmp_path) as chip:
        ShiftRegisters(chip).plugged = False
        told = chip.run(LOCKED).splitlines()
    record_property("summary", f"emulated RP2040  frozen, on a locked heap: {', '.join(told)}")
    assert [line.split(";")[1] for line in told] == ["applying"] * 4
