"""The driver of the SD card against a card byte by byte."""

from app.sd_card import AGAIN, NOT_READY, NOT_WRITTEN, TOO_OLD, CardError, SdCard
from tests.support.card_rig import SIZE, CardChip, TimedCard, done, sector, started


def problem(call, *arguments):
    """Return what a call complains about, "" where it does not."""
    try:
        call(*arguments)
    except CardError as error:
        return error.args[0]
    return ""


def start_problem(chip):
    card = SdCard(chip)
    for _ in range(10):
        found = problem(card.start)
        if found:
            return found
    return ""


def test_what_was_written_reads_back_and_nothing_else_is_touched():
    chip = TimedCard(SIZE)
    card = started(chip)
    for number in (0, 77, SIZE - 1):
        card.sector[:] = sector(number)
        done(chip, card.write, number)
    card.sector[:] = bytes(512)
    for number in (SIZE - 1, 77, 0):
        done(chip, card.read, number)
        assert bytes(card.sector) == sector(number)
    assert sorted(chip.sectors) == [0, 77, SIZE - 1]
    assert chip.wrong == [] and chip.held == 0
    assert card.transfers == 6


def test_the_start_alone_of_a_sector_leaves_the_rest_in_peace():
    chip = TimedCard(SIZE)
    chip.sectors[5] = sector(5)
    card = started(chip)
    card.sector[:] = sector(9)
    done(chip, card.read, 5, 0)
    assert bytes(card.head) == sector(5)[:32] and bytes(card.sector) == sector(9)


def test_a_slow_start_and_late_data_are_waited_for():
    chip = TimedCard(SIZE)
    chip.starts = 9
    chip.access = 60
    chip.sectors[5] = sector(5)
    card = started(chip)
    done(chip, card.read, 5)
    assert bytes(card.sector) == sector(5)


def test_a_busy_card_is_asked_again_and_not_waited_for():
    chip = TimedCard(SIZE)
    chip.busy_us = 250000
    card = started(chip)
    done(chip, card.write, 1)
    assert card.write(2) == AGAIN == card.read(1)
    assert 240 < done(chip, card.write, 2) < 260


def test_no_card_whatever_the_line_carries():
    for idle in (0xFF, 0x00, 0x01, 0x55):
        chip = CardChip(SIZE)
        chip.present = 0
        chip.idle = idle
        assert start_problem(chip) in (NOT_READY, TOO_OLD), idle


def test_a_card_that_is_pulled_is_missed_and_can_come_back():
    chip = TimedCard(SIZE)
    card = started(chip)
    chip.pull()
    assert problem(card.read, 1) == NOT_READY == problem(card.write, 1)
    chip.put_in()
    assert problem(card.read, 1) == NOT_READY  # it was not started since
    card.reset()
    card = started(chip)
    done(chip, card.write, 1)
    assert chip.wrong == []


def test_cards_that_count_in_bytes_and_locked_ones_are_told():
    chip = CardChip(SIZE)
    chip.high_capacity = 0
    assert start_problem(chip) == TOO_OLD
    chip = CardChip(SIZE)
    card = started(chip)
    chip.locked = 1
    assert problem(card.write, 3) == NOT_WRITTEN and chip.sectors == {}


def test_a_sector_beyond_the_end_is_refused():
    card = started(CardChip(SIZE))
    assert problem(card.read, SIZE) == NOT_READY == problem(card.write, SIZE)


def test_the_tick_may_take_the_lines_at_any_point():
    """Whether the card forgets what it was told, or still waits for the rest."""
    for forgetful in (0, 1):
        for pieces in range(1, 45):
            chip = TimedCard(SIZE)
            chip.forgetful = forgetful
            for number in (6, 8, 9):
                chip.sectors[number] = sector(number)
            card = started(chip)
            card.sector[:] = sector(7)
            chip.takes_away = pieces
            done(chip, card.write, 7)
            chip.takes_away = pieces
            done(chip, card.read, 9)
            assert bytes(card.sector) == sector(9), (forgetful, pieces)
            for number in (6, 7, 8, 9):
                assert chip.read(number) == sector(number), (forgetful, pieces, number)
            assert len(chip.sectors) == 4
