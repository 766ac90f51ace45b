"""Randomised designs: right for every seed, and every arrangement with the same chance.

No table of randomisations is published to check against, so uniformity is tested over seeds with
Pearson's chi-square (scipy.stats.chisquare). Seeds are fixed, so the outcome is, too.
"""

from __future__ import annotations

from collections import Counter
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from host_sim.field_trial.designs import (
    complete_blocks,
    completely_randomised,
    latin_square,
    split_plot,
)

UNLIKELY = 0.001


def uniform(counts, categories):
    """Whether counts of what was drawn are those of equally likely categories."""
    observed = [counts[category] for category in categories]
    assert sum(observed) == sum(counts.values()), "something else was drawn"
    return stats.chisquare(observed).pvalue > UNLIKELY


def names(count):
    return [chr(ord("A") + index) for index in range(count)]


def test_every_order_of_a_block_is_as_likely_as_any_other():
    drawn = Counter()
    for seed in range(3000):
        units = complete_blocks("ABCD", 2, seed)
        drawn["".join(unit.treatment for unit in units if unit.block == "2")] += 1
    assert uniform(drawn, ["".join(order) for order in permutations("ABCD")])


def test_blocks_know_nothing_of_each_other():
    drawn = Counter()
    for seed in range(3600):
        units = complete_blocks("ABC", 2, seed)
        drawn["".join(unit.treatment for unit in units)] += 1
    orders = ["".join(order) for order in permutations("ABC")]
    assert uniform(drawn, [one + other for one in orders for other in orders])


def test_a_completely_randomised_design_takes_every_arrangement_alike():
    drawn = Counter("".join(unit.treatment for unit in completely_randomised("AB", 3, seed))
                    for seed in range(4000))
    assert uniform(drawn, {"".join(order) for order in permutations("AAABBB")})


def test_a_split_plot_draws_whole_plots_and_parts():
    wholes, subs = Counter(), Counter()
    for seed in range(2400):
        units = split_plot("XYZ", "AB", 1, seed)
        wholes["".join(unit.whole_treatment for unit in units[::2])] += 1
        subs["".join(unit.treatment for unit in units)] += 1
    assert uniform(wholes, ["".join(order) for order in permutations("XYZ")])
    assert uniform(subs, [a + b + c for a in ("AB", "BA") for b in ("AB", "BA")
                          for c in ("AB", "BA")])


def test_all_twelve_latin_squares_of_three_come_alike():
    """There are 12 Latin squares of order 3 and 576 of order 4 (OEIS A002860)."""
    drawn = Counter("".join(unit.treatment for unit in latin_square("ABC", seed))
                    for seed in range(1200))
    assert len(drawn) == 12
    assert uniform(drawn, list(drawn))


def test_the_two_kinds_of_latin_squares_of_four_come_as_often_as_there_are_of_them():
    """Of the 576, a quarter are those of the group with three elements of order 2: 144 to 432.

    In those, whatever leads from one row to another leads back. To take the first square after a
    number of moves gives a tenth instead.
    """
    kinds = Counter()
    for seed in range(500):
        grid = {(unit.row, unit.column): unit.treatment for unit in latin_square("ABCD", seed)}
        kinds[all(_swaps_back(grid, row, other) for row in range(4) for other in range(row))] += 1
    assert stats.chisquare([kinds[True], kinds[False]], [125, 375]).pvalue > UNLIKELY


def _swaps_back(grid, row, other):
    """Whether going from one row to the other twice leads back."""
    step = {grid[row, column]: grid[other, column] for column in range(4)}
    return all(step[step[name]] == name for name in step)


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 7), st.integers(0, 2**32 - 1))
def test_a_latin_square_is_one_for_every_seed(count, seed):
    units = latin_square(names(count), seed)
    for line in ("row", "column"):
        for place in range(count):
            found = [unit.treatment for unit in units if getattr(unit, line) == place]
            assert sorted(found) == names(count)


@settings(max_examples=50, deadline=None)
@given(st.integers(2, 12), st.integers(1, 8), st.integers(0, 2**32 - 1))
def test_blocks_and_replicates_are_complete_for_every_seed(count, blocks, seed):
    units = complete_blocks(names(count), blocks, seed)
    for block in range(1, blocks + 1):
        assert sorted(unit.treatment for unit in units if unit.block == str(block)) == names(count)
    anywhere = completely_randomised(names(count), blocks, seed)
    assert set(Counter(unit.treatment for unit in anywhere).values()) == {blocks}
    assert len({(unit.row, unit.column) for unit in anywhere}) == count * blocks


def test_a_seed_gives_the_same_field_for_ever():
    """A plan is made anew from its seed years later: these were drawn when this was written."""
    assert "".join(unit.treatment for unit in complete_blocks("ABCD", 2, 7)) == RECORDED[0]
    assert "".join(unit.treatment for unit in latin_square("ABCD", 7)) == RECORDED[1]


RECORDED = ("CDABCDBA", "ADBCDACBCBDABCAD")


@pytest.mark.parametrize("seed", [0, 1, 2**32 - 1])
def test_neighbouring_seeds_give_other_fields(seed):
    """With 24 plots the same field by chance is out of the question."""
    assert complete_blocks(names(6), 4, seed) != complete_blocks(names(6), 4, (seed + 1) % 2**32)
