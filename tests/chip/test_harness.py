"""The emulator without any image: the harness must see what a program does to a pin."""

from rp2040py.rp2040 import RP2040

from tests.chip.bare_program import CYCLES_A_TOGGLE, HALFWORDS, PIN
from tests.chip.emulated_chip import LAYOUT, flash_image

RAM = 0x20000000


def run_bare(halfwords, instructions):
    """Run instructions from RAM; returns the cycle numbers at which the pin was toggled."""
    chip = RP2040()
    for index in range(0, len(halfwords), 2):
        chip.write_uint32(RAM + 2 * index, halfwords[index] | halfwords[index + 1] << 16)
    chip.gpio[PIN].ctrl = 5  # SIO
    toggles, cycles = [], [0]
    chip.gpio[PIN].add_listener(lambda *_: toggles.append(cycles[0]))
    chip.core.pc = RAM
    for _ in range(instructions):
        cycles[0] += chip.core.execute_instruction()
    return toggles


def test_a_program_toggles_its_pin_at_the_published_pace():
    """Cortex-M0+ Technical Reference Manual, table 3-1: store 2 (1 to the SIO), branch taken 2."""
    toggles = run_bare(HALFWORDS, 200)
    assert len(toggles) > 50
    spans = {later - earlier for earlier, later in zip(toggles[5:], toggles[6:], strict=False)}
    assert spans == {CYCLES_A_TOGGLE}


def test_a_program_that_does_nothing_toggles_nothing():
    nops = (0xBF00,) * (len(HALFWORDS) - 2) + (0xE7FE, 0xE7FE)
    assert run_bare(nops, 200) == []


def test_flash_image_has_the_size_of_the_partition(tmp_path):
    (tmp_path / "lib").mkdir()
    (tmp_path / "lib" / "a.py").write_text("x = 1\n")
    image = flash_image(tmp_path)
    assert len(image) == LAYOUT.fs_blockcount * LAYOUT.fs_blocksize
    assert b"littlefs" in image[:64]
