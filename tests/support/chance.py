"""Chance for tests that run on every interpreter: a linear congruence."""


class Chance:
    """Whole numbers at random, the same in every run and on every interpreter."""

    def __init__(self, seed):
        self._state = seed

    def below(self, count):
        self._state = (self._state * 4093 + 5741) & 0x7FFFF
        return (self._state >> 4) % count

    def of(self, choices):
        return choices[self.below(len(choices))]
