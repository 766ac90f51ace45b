"""The analysis of variance against three published ones, to the printed digit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from host_sim.field_trial.anova import RESIDUAL, anova

# Six blocks of peas, 24 plots, factorial of nitrogen, phosphate and potash: data set npk of the R
# package MASS (Venables and Ripley), https://rdrr.io/cran/MASS/man/npk.html. Block, N, P, K, yield.
NPK = """
1 0 1 1 49.5  1 1 1 0 62.8  1 0 0 0 46.8  1 1 0 1 57.0  2 1 0 0 59.8  2 1 1 1 58.5  2 0 0 1 55.5
2 0 1 0 56.0  3 0 1 0 62.8  3 1 1 1 55.8  3 1 0 0 69.5  3 0 0 1 55.0  4 1 0 0 62.0  4 1 1 1 48.8
4 0 0 1 45.5  4 0 1 0 44.2  5 1 1 0 52.0  5 0 0 0 51.5  5 1 0 1 49.8  5 0 1 1 48.8  6 1 0 1 57.2
6 1 1 0 59.0  6 0 1 1 53.2  6 0 0 0 56.0
"""
# Yates's oats: six blocks, three varieties on whole plots, four nitrogen levels on sub-plots: data
# set oats of the same package. A row is block, variety, and the yields at 0.0, 0.2, 0.4, 0.6 cwt.
OATS = """
I V 111 130 157 174    I G 117 114 161 141    I M 105 140 118 156
II V 61 91 97 100      II G 70 108 126 149    II M 96 124 121 144
III V 68 64 112 86     III G 60 102 89 96     III M 89 129 132 124
IV V 74 89 81 122      IV G 64 103 132 133    IV M 70 89 104 117
V V 62 90 100 116      V G 80 82 94 126       V M 63 70 109 99
VI V 53 74 118 113     VI G 89 82 86 104      VI M 97 99 119 121
"""
# Wheat in a 4 x 4 Latin square; a secondary source (published coursework).
SQUARE = ("CBAD", "ADCB", "BADC", "DCBA")
WHEAT = (25, 23, 20, 20, 19, 19, 21, 18, 19, 14, 17, 20, 17, 20, 21, 15)


def by_source(lines):
    return {(line.stratum, line.source): line for line in lines}


def test_six_blocks_of_a_factorial():
    rows = np.array(NPK.split(), dtype=float).reshape(-1, 5)
    block, n, p, k = (rows[:, column].tolist() for column in range(4))
    terms = [("block", block), ("N", n), ("P", p), ("K", k), ("N:P", list(zip(n, p, strict=True))),
             ("N:K", list(zip(n, k, strict=True))), ("P:K", list(zip(p, k, strict=True))),
             ("N:P:K", list(zip(n, p, k, strict=True)))]
    table = by_source(anova(rows[:, 4], terms))
    published = {"block": (5, 343.295, 4.447), "N": (1, 189.2817, 12.259), "K": (1, 95.2017, 6.166)}
    for name, (df, squares, f) in published.items():
        line = table["plots", name]
        assert (line.df, round(line.f, 3)) == (df, f)
        assert line.sum_sq == pytest.approx(squares, abs=0.0005)
    rest = table["plots", RESIDUAL]
    assert (rest.df, round(rest.sum_sq, 4)) == (12, 185.2867)
    assert ("plots", "N:P:K") not in table, "it is confounded with blocks"


def oats():
    cells = OATS.split()
    rows = [cells[start : start + 6] for start in range(0, len(cells), 6)]
    plots = [(block, variety, level, float(value)) for block, variety, *values in rows
             for level, value in enumerate(values)]
    block, variety, nitrogen, values = (list(column) for column in zip(*plots, strict=True))
    terms = [("V", variety), ("N", nitrogen), ("N:V", list(zip(variety, nitrogen, strict=True)))]
    return values, terms, block, list(zip(block, variety, strict=True))


def test_a_split_plot_in_its_two_strata():
    values, terms, block, whole = oats()
    table = by_source(anova(values, terms, [("block", block), ("whole", whole)]))
    for (stratum, name), f, df, rest in ((("whole", "V"), 1.485, 2, 10),
                                         (("plots", "N"), 37.686, 3, 45),
                                         (("plots", "N:V"), 0.303, 6, 45)):
        line = table[stratum, name]
        assert (round(line.f, 3), line.df, table[stratum, RESIDUAL].df) == (f, df, rest)


def test_plain_least_squares_gives_the_wrong_answer_for_a_split_plot():
    """The published trap: varieties judged against sub-plots get F = 5.044 in place of 1.485."""
    values, terms, block, whole = oats()
    variety, *others = terms
    table = by_source(anova(values, [("block", block), variety, ("block:V", whole), *others]))
    assert round(table["plots", "V"].f, 3) == 5.044


def test_a_latin_square():
    names = list("".join(SQUARE))
    rows, columns = np.divmod(np.arange(16), 4)
    table = by_source(anova(WHEAT, [("row", rows.tolist()), ("column", columns.tolist()),
                                    ("treatment", names)]))
    for name, f in (("row", 8.857), ("column", 1.429), ("treatment", 9.238)):
        assert round(table["plots", name].f, 3) == f
        assert table["plots", name].p == pytest.approx(stats.f.sf(table["plots", name].f, 3, 6))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.floats(-100, 100), min_size=2, max_size=5), min_size=2, max_size=5))
def test_one_way_is_that_of_scipy(groups):
    """scipy.stats.f_oneway, groups of any sizes."""
    labels = [index for index, group in enumerate(groups) for _ in group]
    values = [value for group in groups for value in group]
    if any(np.ptp(group) > 1e-3 for group in groups):
        line = by_source(anova(values, [("group", labels)]))["plots", "group"]
        assert line.f == pytest.approx(float(stats.f_oneway(*groups).statistic), rel=1e-6, abs=1e-9)


def test_strata_hold_all_squares_and_all_degrees_of_freedom():
    values, terms, block, whole = oats()
    lines = anova(values, terms, [("block", block), ("whole", whole)])
    assert sum(line.df for line in lines) == len(values) - 1
    total = float(((np.array(values) - np.mean(values)) ** 2).sum())
    assert sum(line.sum_sq for line in lines) == pytest.approx(total)


def test_without_anything_left_there_is_no_f():
    table = by_source(anova([1.0, 2.0, 3.0], [("treatment", list("ABC"))]))
    assert table["plots", "treatment"].f is None and table["plots", RESIDUAL].df == 0
    same = by_source(anova([5.0, 5.0, 5.0, 5.0], [("treatment", list("AABB"))]))
    assert same["plots", "treatment"].f is None
