"""Randomised designs: which treatment lies where on a grid of rows and columns.

Every arrangement that a design allows is equally likely, and follows from the seed alone: only
`random.Random(seed).random()` is used, of which Python promises that it stays the same
(docs.python.org, "Notes on Reproducibility").
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import TypeVar

T = TypeVar("T")
CORNERS = tuple(product((0, 1), repeat=3))  # of a box, each near or far along three edges


@dataclass(frozen=True)
class Unit:
    """What lies in a place of the grid. Rows and columns count from 0; a split plot has `whole`."""

    row: int
    column: int
    treatment: str
    block: str = ""
    whole_plot: str = ""
    whole_treatment: str = ""


def completely_randomised(treatments: Sequence[str], replicates: int, seed: int) -> list[Unit]:
    """Every treatment so many times, anywhere; a row has as many plots as there are treatments."""
    draw = random.Random(seed)
    drawn = shuffled([name for name in treatments for _ in range(replicates)], draw)
    count = len(treatments)
    return [Unit(index // count, index % count, name) for index, name in enumerate(drawn)]


def complete_blocks(treatments: Sequence[str], blocks: int, seed: int) -> list[Unit]:
    """Every treatment once in each block, in an order drawn for each; a row is a block."""
    draw = random.Random(seed)
    return [Unit(block, column, name, block=str(block + 1)) for block in range(blocks)
            for column, name in enumerate(shuffled(treatments, draw))]


def split_plot(wholes: Sequence[str], subs: Sequence[str], blocks: int, seed: int) -> list[Unit]:
    """Whole plots in an order drawn for each block, and sub-plots for each whole plot."""
    draw = random.Random(seed)
    units = []
    for block in range(blocks):
        for place, whole in enumerate(shuffled(wholes, draw)):
            for within, sub in enumerate(shuffled(subs, draw)):
                units.append(Unit(block, place * len(subs) + within, sub, str(block + 1),
                                  f"{block + 1}-{place + 1}", whole))
    return units


def latin_square(treatments: Sequence[str], seed: int) -> list[Unit]:
    """Every treatment once in each row and once in each column."""
    draw = random.Random(seed)
    count = len(treatments)
    square = _Square(count, draw)
    for _ in range(count**3):
        square.walk()
    rows, columns = shuffled(range(count), draw), shuffled(range(count), draw)
    names = shuffled(treatments, draw)
    return [Unit(row, column, names[square.symbol(rows[row], columns[column])])
            for row, column in product(range(count), repeat=2)]


def shuffled(items: Sequence[T], draw: random.Random) -> list[T]:
    """The items in an order drawn by the method of Fisher and Yates."""
    drawn = list(items)
    for last in range(len(drawn) - 1, 0, -1):
        chosen = int(draw.random() * (last + 1))
        drawn[last], drawn[chosen] = drawn[chosen], drawn[last]
    return drawn


class _Square:
    """A random walk over Latin squares after Jacobson and Matthews, which visits all alike.

    Source: Jacobson, M. T., Matthews, P., "Generating uniformly distributed random Latin squares",
    Journal of Combinatorial Designs 4(6), 1996 (from memory). A square is a cube of 0 and 1 whose
    every line has the sum 1; a move adds and takes away 1 at the corners of a small box. It may
    leave a single -1, the improper cell, at which the next move begins. All squares are alike only
    among the proper ones that the walk comes by: the first after a number of moves is not.
    """

    def __init__(self, count: int, draw: random.Random) -> None:
        self._count = count
        self._draw = draw
        self._cube = [[[int((row + column) % count == symbol) for symbol in range(count)]
                       for column in range(count)] for row in range(count)]
        self._improper: tuple[int, int, int] | None = None

    def symbol(self, row: int, column: int) -> int:
        """What stands in a place of a proper square."""
        return self._cube[row][column].index(1)

    def walk(self) -> None:
        """Go on to the next proper square."""
        self._move()
        while self._improper:
            self._move()

    def _move(self) -> None:
        at = self._improper or self._empty()
        other = tuple(self._one(line) for line in self._lines(at))
        ends = tuple(zip(at, other, strict=True))
        for far_row, far_column, far_symbol in CORNERS:
            place = self._cube[ends[0][far_row]][ends[1][far_column]]
            place[ends[2][far_symbol]] += -1 if (far_row + far_column + far_symbol) % 2 else 1
        self._improper = other if self._value(other) < 0 else None  # type: ignore[assignment]

    def _empty(self) -> tuple[int, int, int]:
        """A cell that holds 0, any with the same chance."""
        while True:
            row, column, symbol = (int(self._draw.random() * self._count) for _ in range(3))
            if not self._cube[row][column][symbol]:
                return row, column, symbol

    def _lines(self, at: tuple[int, int, int]) -> tuple[list[int], list[int], list[int]]:
        """The three lines of the cube through a cell."""
        row, column, symbol = at
        span = range(self._count)
        return ([self._cube[other][column][symbol] for other in span],
                [self._cube[row][other][symbol] for other in span], self._cube[row][column])

    def _one(self, line: list[int]) -> int:
        """Where a line has a 1; of two, which an improper cell has, either with the same chance."""
        places = [place for place, value in enumerate(line) if value == 1]
        return places[int(self._draw.random() * len(places))]

    def _value(self, place: tuple[int, ...]) -> int:
        row, column, symbol = place
        return self._cube[row][column][symbol]
