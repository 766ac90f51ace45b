"""The driver of the CAN chip against a chip register by register."""

from app.mcp2515 import CRYSTALS_MHZ, NO_MESSAGE, Mcp2515
from tests.support.can_rig import CanChip, can_frame

FIRST, SECOND = 129026, 129025
DATA = bytes(range(1, 9))


def started(chip):
    driver = Mcp2515(chip, FIRST, SECOND)
    driver.reset()
    assert driver.configure() and driver.check()
    return driver


def test_it_listens_and_never_answers():
    chip = CanChip()
    driver = started(chip)
    assert chip.mode() == 0x60
    for pgn in (FIRST, SECOND):
        chip.hear(*can_frame(pgn, DATA, 0x23, priority=6))
        assert driver.take()
        assert (driver.pgn, driver.sender, bytes(driver.data)) == (pgn, 0x23, DATA)
        assert not driver.take()
    assert driver.check()
    assert chip.acknowledged == chip.send == 0
    assert (driver.frames, driver.damaged, driver.lost) == (2, 0, 0)


def test_a_chip_in_its_normal_mode_would_be_seen():
    chip = CanChip()
    driver = started(chip)
    chip.write(0x0F, 0)
    chip.hear(*can_frame(FIRST, DATA))
    assert chip.acknowledged == 1 and not driver.check()


def test_bit_timing_for_each_crystal():
    for mhz in CRYSTALS_MHZ:
        chip = CanChip(mhz)
        started(chip)
        assert chip.bits_s() == 250000
        registers = chip.registers
        after = (registers[0x28] & 7) + 1  # the sample
        assert after >= 2 and 0.80 <= (16 - after) / 16 <= 0.83


def test_each_buffer_has_its_message_and_others_pass():
    chip = CanChip()
    driver = started(chip)
    for pgn in (65096, FIRST + 1, SECOND - 1, 0xF802, 0x3F801, FIRST ^ 0x10000):
        chip.hear(*can_frame(pgn, DATA))
    chip.hear(0x1F8, DATA, extended=0)
    assert not driver.take()
    chip.hear(*can_frame(SECOND, DATA))
    chip.hear(*can_frame(FIRST, DATA))
    assert driver.take() and driver.pgn == FIRST
    assert driver.take() and driver.pgn == SECOND
    assert not driver.take()


def test_every_sender_and_priority():
    chip = CanChip()
    driver = started(chip)
    for sender in (0, 1, 127, 253, 255):
        for priority in range(8):
            chip.hear(*can_frame(FIRST, DATA, sender, priority))
            assert driver.take() and (driver.pgn, driver.sender) == (FIRST, sender)


def test_short_and_remote_frames_are_no_messages():
    chip = CanChip()
    driver = started(chip)
    identifier, data = can_frame(FIRST, DATA)
    for length in range(8):
        chip.hear(identifier, data[:length])
        assert driver.take() and driver.pgn == NO_MESSAGE
    chip.hear(identifier, data, remote=1)
    assert driver.take() and driver.pgn == NO_MESSAGE


def test_what_is_lost_is_counted_and_the_next_one_comes():
    chip = CanChip()
    driver = started(chip)
    for number in range(3):
        chip.hear(*can_frame(FIRST, bytes([number]) * 8))
    assert driver.take() and driver.data[0] == 0
    assert not driver.take()
    assert driver.check() and driver.lost == 1
    assert driver.check() and driver.lost == 1
    chip.hear(*can_frame(FIRST, DATA))
    assert driver.take() and bytes(driver.data) == DATA


def test_wrong_crystal_is_damage_and_no_frame():
    chip = CanChip(8, true_mhz=16)
    driver = started(chip)
    chip.hear(*can_frame(FIRST, DATA))
    assert not driver.take() and driver.check() and driver.damaged == 1
    assert driver.check() and driver.damaged == 1


def test_off_the_bus_and_a_chip_that_lost_its_supply_are_not_well():
    chip = CanChip()
    driver = started(chip)
    chip.registers[0x2D] |= 0x20
    assert not driver.check()
    driver = started(chip)
    chip.reset()
    assert not driver.check() and not driver.take()


def test_no_chip_whatever_the_line_carries():
    for idle in range(256):
        chip = CanChip()
        chip.present = 0
        chip.idle = idle
        driver = Mcp2515(chip, FIRST, SECOND)
        driver.reset()
        assert not driver.configure(), idle


def test_a_chip_that_forgets_one_register_does_not_answer():
    for address in (0x00, 0x01, 0x05, 0x0A, 0x12, 0x1A, 0x20, 0x21, 0x22, 0x26, 0x28, 0x29, 0x2A):
        chip = CanChip(16)
        write = chip.write

        def broken(at, value, write=write, address=address):
            write(at, value ^ (1 if at == address else 0))

        chip.write = broken
        driver = Mcp2515(chip, FIRST, SECOND)
        driver.reset()
        assert not driver.configure(), address


def test_no_exchange_is_longer_than_a_frame():
    chip = CanChip()
    driver = started(chip)
    chip.hear(*can_frame(FIRST, DATA))
    chip.longest = chip.exchanges = 0
    assert driver.take()
    assert (chip.longest, chip.exchanges) == (14, 2)
    driver.take()
    driver.check()
    assert chip.exchanges == 5
