"""The last minute with another setting: what the replay is made of, and what it may not do."""

import json

import pytest

from host_sim.common.errors import InputError
from host_sim.panel.feed import Feed
from host_sim.panel.game import Game
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.scenes import START, Script
from host_sim.panel.what_if import SPAN_S, TICKS, Minute, changed, compared, offered, replay
from host_sim.site.page_keeper import PageKeeper
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

BRIEF = 160  # ticks, eight seconds
ON = SWITCH_MASTER | SWITCH_IMPLEMENT | 7 << SWITCH_SECTION_SHIFT
SECTION_2 = 2 << SWITCH_SECTION_SHIFT


@pytest.fixture(scope="module")
def scenario():
    return load_scenario(DEMO, field="calm")


def minute(switches=(ON,) * BRIEF, speed_m_s=2.5, done=()):
    return Minute((speed_m_s,) * BRIEF, switches, (80_000,) * BRIEF, done)


@pytest.fixture(scope="module")
def as_set(scenario):
    return replay(scenario, scenario.settings, minute())


def mean_of(replayed, section):
    ratios = [ratios[section] for _, ratios in replayed.cells]
    return sum(ratios) / len(ratios)


def test_the_same_minute_with_the_same_settings_is_the_same(scenario, as_set):
    again = replay(scenario, scenario.settings, minute())
    assert again == as_set and len(as_set.cells) >= 19
    assert as_set.figures()["within_pct"] == 100.0 and not as_set.figures()["faults"]


def test_a_k_factor_that_is_a_tenth_too_large_applies_a_tenth_too_much(scenario, as_set):
    """By what a K-factor is: the volume of a pulse is 1 over it, and the loop holds the pulses."""
    other = changed(scenario.settings, "learned.meter.k_factor=495 pulses/L", us=False)
    found = replay(scenario, other, minute())
    for section in range(3):
        assert mean_of(found, section) / mean_of(as_set, section) == pytest.approx(1.1, abs=0.015)
    assert found.figures()["mean_pct"] == pytest.approx(10.0, abs=2.0)


def test_hands_and_what_was_broken_act_at_their_moment(scenario):
    half = BRIEF // 2
    closed = (ON,) * half + (ON & ~SECTION_2,) * (BRIEF - half)
    worn = [(-30.0, "outlets", [0, 1.2]), (4.0, "outlets", [0, 1.0])]
    cells = replay(scenario, scenario.settings, minute(closed, done=worn)).cells
    first, last = cells[2][1], cells[-2][1]
    assert first[0] > 1.08 and last[0] < 1.05, "worn from before the minute, mended in it"
    assert first[1] is not None and last[1] is None, "closed in it"


def test_both_sides_are_told_with_what_differs(scenario):
    other = changed(scenario.settings, "settling_time=6 s", us=False)
    found = compared(scenario, scenario.settings, other, minute(), us=False)
    assert found["name"] == "settings.settling_time"
    assert [side["words"] for side in found["sides"]] == ["1.50 s", "6.00 s"]
    assert found["sides"][0]["cells"][0][0] == 0
    json.dumps(found, allow_nan=False)


def test_a_setting_that_cannot_be_so_is_refused(scenario):
    with pytest.raises(InputError, match="settling_time: must be 0.3 to 30 s, is 99 s"):
        changed(scenario.settings, "settling_time=99 s", us=False)


def test_everything_that_is_offered_can_be_asked_as_it_is_shown(scenario):
    """In both systems of units: what the field holds at first is what is set."""
    for us in (False, True):
        for key, value, meaning in offered(scenario.settings, us):
            assert meaning and changed(scenario.settings, f"{key}={value}", us), key


def play(seconds, scenario):
    feed = Feed()
    game = Game(LiveTwin(scenario), scenario, feed, lambda: 0.0, PageKeeper(print),
                Script(START, seconds))
    game.frame()
    return game, feed


def test_a_page_asks_for_it_and_is_told_why_not(scenario):
    game, feed = play(SPAN_S + 6.0, scenario)

    def ask(*arguments):
        cursor = feed.since(None)[1]
        game.do("what_if", list(arguments))
        return json.loads(feed.since(cursor)[0][0])

    assert ask("settling_time=1.5 s", False) == {"refused": "what if: that is what it is set to"}
    assert ask("settling_time=99 s", False)["refused"].startswith("settling_time: must be")
    assert ask("nothing=1", False)["refused"].startswith("nothing=1: must be NAME=VALUE")
    assert len(game.drive.last_minute()) == TICKS
    sides = ask("settling_time=4 s", False)["what_if"]["sides"]
    assert all(len(side["cells"]) > 100 for side in sides)
    early, feed = play(3.0, scenario)
    early.do("what_if", ["settling_time=4 s", False])
    texts, _ = feed.since(1)
    assert any("less than 60 s" in text for text in texts)
