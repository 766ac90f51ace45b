"""Moments to go to, and the tank by count."""

import json

import pytest

from host_sim.panel.commands import COMMANDS, parse
from host_sim.panel.feed import Feed
from host_sim.panel.game import Game
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.saver import Saver
from host_sim.panel.scenes import AT_MAX_S, SCENES, Script
from host_sim.panel.tank_count import TankCount
from host_sim.panel.twin_play import TwinPlay
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.interlock import STATE_NAMES

# What a person sees at the moment of each scene: the state, then a piece of a fault or a display.
SEEN = {
    "steady": ("applying", ""),
    "stalled_meter": ("fault", "no flow at the meter"),
    "section_closed": ("applying", ""),
    "speed_halved": ("applying", ""),
    "worn_outlets": ("applying", ""),
    "empty_tank": ("fault", "tank"),
    "weak_battery": ("applying", ""),
    "program_hangs": ("parked", "master off, then on"),
    "passes": ("ready", "implement is up"),
    "pump_curve": ("bench", "stepping up"),
    "step_test": ("parked", "gain against the curve"),
}


def play(script):
    """A game that has gone to the script's moment, without real time going by, and its feed."""
    scenario, feed = load_scenario(DEMO, field="calm"), Feed()
    game = Game(LiveTwin(scenario), scenario, feed, lambda: 0.0, Saver(), script)
    game.frame()
    return game, feed


def shown(feed):
    """What a page that opens now is shown, with the last row by name."""
    (text,), _ = feed.since(None)
    page = json.loads(text)
    page["row"] = dict(zip(page["hello"]["columns"], page["rows"][-1], strict=True))
    return page


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.name)
def test_a_scene_shows_what_it_promises(scene):
    page = shown(play(Script(scene.steps, scene.at_s))[1])
    row, words = page["row"], page["words"]
    assert row["time_s"] == pytest.approx(scene.at_s, abs=2.0)  # less what a reset swallows
    state, told = SEEN[scene.name]
    assert STATE_NAMES[row["state"]] == state
    assert told in str(words)
    worn = [ratios[0] for _, *ratios in page["cells"][-5:]]
    if scene.name == "worn_outlets":
        assert all(ratio > 1.05 for ratio in worn) and not words["faults"]
    elif scene.name == "passes":
        assert {slab[0] for slab in page["true_slabs"]} == {0, 350, 700, 990}  # cm east
    elif scene.name == "section_closed":
        assert row["section_mask"] == 0b101
    elif scene.name == "speed_halved":
        assert row["true_speed_mm_s"] == pytest.approx(8000 / 7.2, rel=0.1)


def test_every_step_is_a_command_that_a_page_could_send():
    for scene in SCENES:
        assert 0 <= scene.at_s <= AT_MAX_S
        for when_s, name, *arguments in scene.steps:
            assert 0 <= when_s < scene.at_s, scene.name
            assert name in COMMANDS and len(arguments) == len(COMMANDS[name])
            assert all(map(lambda kind, value: kind.fits(value), COMMANDS[name], arguments))


def test_what_is_still_to_come_is_done_when_it_is_due():
    scene = next(scene for scene in SCENES if scene.name == "stalled_meter")
    game, _ = play(Script(scene.steps, 30.0))
    assert not game._twin.faults.meter_stalled
    game.script.act(35.0, game.do)
    assert game._twin.faults.meter_stalled


def test_a_scene_begins_a_new_life_and_starting_over_forgets_it():
    play_on = TwinPlay(load_scenario(DEMO, field="calm"), Saver())
    play_on.frame()
    assert play_on.ask('["scene", "steady", 12]') == ""
    play_on.frame()
    play_on.frame()
    assert play_on._game._twin.now_s > 5.0
    assert play_on.ask('["restart"]') == ""
    play_on.frame()
    play_on.frame()
    assert play_on._game._twin.now_s < 2.0 and not play_on._game.script.arrive_s
    assert parse('["scene", "steady", 0]') == ("scene", ["steady", 0])


def test_the_tank_is_what_was_filled_in_less_what_was_counted():
    tank = TankCount(200.0)
    tank.count(12_000)
    assert tank.left_l == pytest.approx(188.0) and not tank.is_low
    tank.count(0)  # a new job
    tank.count(3_000)
    assert tank.left_l == pytest.approx(185.0)
    tank.fill(50.0)
    tank.count(47_000)
    assert tank.left_l == pytest.approx(6.0) and not tank.is_low
    tank.count(48_000)
    assert tank.is_low
    tank.count(90_000)
    assert tank.left_l == 0.0
