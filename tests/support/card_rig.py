"""The SD card of the twin for tests on every interpreter, and time for it."""

import sys

if sys.implementation.name == "micropython":  # host_sim is a package for CPython alone
    sys.path.append("host_sim/twin")
    _chip = __import__("card_chip")
    sys.path.pop()
    CardChip = _chip.CardChip
else:
    from host_sim.twin.card_chip import CardChip

from app.sd_card import AGAIN, DONE, SdCard

SIZE = 100000
SECTOR = 512


class TimedCard(CardChip):
    """A card whose time is set by hand."""

    time_us = 0

    def now_us(self):
        """Return the time."""
        return self.time_us


def started(chip):
    """Return a driver that has identified the card."""
    card = SdCard(chip)
    for _ in range(20):
        if card.start() == DONE:
            return card
    raise AssertionError("it never started")


def done(chip, call, *arguments):
    """Ask again, a millisecond later each time, until it is done; return how often that was."""
    for times in range(1, 1000):
        if call(*arguments) != AGAIN:
            return times
        chip.time_us += 1000
    raise AssertionError("it was never done")


def sector(seed):
    """Return what a sector may hold."""
    return bytes([(seed + index * 7) & 0xFF for index in range(SECTOR)])
