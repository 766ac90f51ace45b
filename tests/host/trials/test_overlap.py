"""Covered ground that is held shut: what it saves on a field with two headlands, in truth.

The targets are our own, stricter than published figures (median savings of 3 to 13.5 % of a field's
area by its shape, doi 10.1007/s11119-015-9404-y).
"""

import pytest

from host_sim.__main__ import main
from host_sim.trials.overlap import WAYS, outcome
from host_sim.trials.overlap_table import table

BY_HAND, CORRECTED = WAYS[:2]


@pytest.fixture(scope="module")
def found():
    return [[outcome(way, seed=1)] for way in (BY_HAND, CORRECTED)]


def test_overlap_is_down_by_four_fifths_and_no_skip_is_longer_than_a_cell(found, record_property):
    by_hand, held = (each[0] for each in found)
    less = 1 - held.overlap_m2 / by_hand.overlap_m2
    record_property("summary", f"covered ground held shut, 10 Hz with corrections: overlap "
                               f"{held.overlap_m2:.1f} m2 of {by_hand.overlap_m2:.1f} m2 by hand, "
                               f"{100 * less:.0f} % less; longest skip {held.longest_skip_m:.2f} m")
    assert by_hand.longest_skip_m == 0
    assert less >= 0.8
    assert held.longest_skip_m <= 0.25
    assert held.ground_m2 == pytest.approx(by_hand.ground_m2, rel=0.01)


def test_what_is_held_is_in_the_record(found):
    by_hand, held = (each[0].record for each in found)
    assert "hold_mask" not in by_hand.columns
    on_by_hand = held["hand_switches"].astype(int) >> 2
    hold, opened = held["hold_mask"].astype(int), held["section_mask"].astype(int)
    assert hold.any()
    assert not (opened[1:] & hold[:-1]).any()  # what was asked for acts in the next tick
    assert not (opened & ~on_by_hand).any()


def test_table_says_it_in_both_systems(found):
    metric, us = table(found, False), table(found, True)
    assert "(m2)" in metric[1] and "(ft2)" in us[1] and metric[2].startswith("by hand")
    share = 100 * (1 - found[1][0].overlap_m2 / found[0][0].overlap_m2)
    assert f"{share:.0f} %" in metric[3] and f"{share:.0f} %" in us[3]


def test_bad_seeds_are_refused(capsys):
    assert main(["overlap", "--seeds", "0"]) == 2
    assert "--seeds: must be 1 to 100" in capsys.readouterr().err
