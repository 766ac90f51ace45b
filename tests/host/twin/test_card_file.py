"""Where the trace goes on: behind everything that was written, whatever power cuts have spoilt."""

import random

import pytest

from app.card_file import EMPTY, NO_TRACE, SPOILT, CardFile
from app.sd_card import AGAIN, CardError
from host_sim.runs.card_trace import WORDS, empty_sector
from host_sim.twin.card_image import FILE, PreparedCard
from tests.support.card_rig import TimedCard, done, started

SIZE = 150


class Card(PreparedCard, TimedCard):
    """With so many sectors written, and some of them spoilt."""

    def __init__(self, end, spoilt=()):
        super().__init__(SIZE)
        for place in range(1, end):
            words = list(WORDS.unpack_from(empty_sector(self.number, place, SIZE)))
            words[3] = 2
            self.sectors[FILE + place] = WORDS.pack(*words).ljust(512, b"\0")
        for place in spoilt:
            self.sectors[FILE + place] = bytes([0xFF]) * 512


def found(card):
    file = CardFile(started(card))
    done(card, file.find)
    return file


def test_the_end_is_found_wherever_it_is():
    for end in (*range(1, 40), *range(40, SIZE + 1, 7), SIZE):
        assert found(Card(end)).end == end


def test_what_a_power_cut_spoilt_is_passed_and_nothing_written_is_lost():
    chance = random.Random(7)
    for _ in range(60):
        end = chance.randrange(1, SIZE - 10)
        first = chance.randrange(1, end + 2)
        spoilt = range(first, first + chance.randrange(1, SPOILT))
        card = Card(end, spoilt)
        before = dict(card.sectors)
        file = found(card)
        while file.make_room() == AGAIN:
            card.time_us += 1000
        assert file.end >= end and file.kind(file.end) == EMPTY
        assert file.end == next(place for place in range(end, SIZE) if place not in spoilt)
        card_sector = file.card.sector
        card_sector[:] = bytes(512)
        done(card, file.write)
        assert {number: card.sectors[number] for number in before} == before


def test_more_than_that_in_a_row_is_no_accident():
    card = Card(20, range(20, 20 + SPOILT + 1))
    file = CardFile(started(card))
    with pytest.raises(CardError, match=NO_TRACE):
        for _ in range(200):
            if file.find() != AGAIN:
                file.make_room()
