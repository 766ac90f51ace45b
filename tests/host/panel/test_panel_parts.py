"""The parts of the panel that decide something: cells, commands, driver, pace, feed."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.panel.commands import COMMANDS, LONGEST, BadCommand, parse
from host_sim.panel.feed import CELLS, FRAMES, ROWS, Feed
from host_sim.panel.ground_cells import GroundCells
from host_sim.panel.pacer import LONGEST_S, Pacer
from host_sim.panel.vehicle import LAG_S, RECORDED, TOP_SPEED_M_S, Vehicle
from host_sim.runs.truth import ground_cells, true_run
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin

# Cells of the ground.


def test_cells_are_those_of_the_report():
    """Fed interval by interval, the demonstration drive gives the cells of its report."""
    scenario = load_scenario(DEMO, field="calm")
    truth = true_run(Twin(scenario).run(), scenario.section_width_m)
    cells = GroundCells(len(scenario.section_width_m))
    for i, start_m in enumerate(truth.distance_m):
        working = truth.section_on[i] & truth.asked[i]
        cells.add(start_m, start_m + truth.step_m[i], working, truth.section_volume_ml[i],
                  truth.section_target_ml[i])
    live = np.full_like(ground_cells(truth), np.nan)
    for number, ratios in cells.take():
        live[number] = [np.nan if ratio is None else ratio for ratio in ratios]
    last = len(live) - 1  # the metre that the machine is still on
    assert np.isfinite(live).sum() > 10_000
    np.testing.assert_allclose(live[:last], ground_cells(truth)[:last], rtol=1e-9)


def test_a_long_step_is_shared_by_way():
    cells = GroundCells(1)
    cells.add(0.5, 3.0, [True], [25.0], [20.0])
    cells.add(3.0, 4.1, [True], [0.0], [10.0])
    assert cells.take() == [(0, [1.25]), (1, [1.25]), (2, [1.25]), (3, [0.0])]
    assert cells.take() == []


def test_a_metre_worked_for_less_than_half_is_blank():
    cells = GroundCells(2)
    cells.add(0.0, 0.4, [True, True], [1.0, 1.0], [1.0, 1.0])
    cells.add(0.4, 1.2, [False, True], [0.0, 2.0], [0.0, 2.0])
    assert cells.take() == [(0, [None, 1.0])]


# Commands.


def test_good_commands_come_out_as_they_went_in():
    for message in (["master", True], ["section", 2, False], ["throttle", 0.5], ["speed", 3],
                    ["outlets", 0, 0.5], ["trouble", "air", True], ["key", "push"],
                    ["rate", 95_000], ["restart"]):
        assert parse(json.dumps(message)) == (message[0], message[1:])


@pytest.mark.parametrize(("message", "problem"), [
    ("", "JSON list"),
    ("{}", "JSON list"),
    ("[]", "JSON list"),
    ("[" * 150, "JSON list"),
    ('["fly"]', "no such command"),
    ('[["master"], true]', "no such command"),
    ('["master"]', "takes 1 arguments, got 0"),
    ('["master", 1]', "true or false"),
    ('["section", true, true]', "whole number, 0 to 7"),
    ('["section", 8, true]', "whole number, 0 to 7"),
    ('["throttle", 1.01]', "number, 0 to 1"),
    ('["throttle", NaN]', "number, 0 to 1"),
    ('["speed", Infinity]', "number, 0 to 12"),
    ('["speed", "3"]', "number, 0 to 12"),
    ('["factor", 21]', "0.25 to 20"),
    ('["key", "arm"]', "one of left, right, push, back"),
    ('["outlets", 0, 0.7]', "one of 1.0, 1.2, 0.5, 0.0"),
    ('["trouble", ["air"], true]', "one of meter_stalled"),
    ('["rate", 0]', "whole number, 1000 to 5000000 mL/ha"),
    ('["key", "' + "x" * LONGEST + '"]', f"at most {LONGEST} characters"),
    (b'["master", true]', "a text"),
])
def test_bad_commands_are_refused_in_words(message, problem):
    with pytest.raises(BadCommand, match=problem.replace("+", r"\+")):
        parse(message)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4), max_leaves=8)


@given(st.text(max_size=300) | st.lists(json_values, max_size=4).map(json.dumps)
       | st.tuples(st.sampled_from(sorted(COMMANDS)), json_values, json_values).map(json.dumps))
def test_no_message_raises_anything_else(message):
    try:
        name, arguments = parse(message)
    except BadCommand as bad:
        assert str(bad)
    else:
        assert len(arguments) == len(COMMANDS[name])


# Driver.


def test_throttle_is_followed_as_a_first_order_lag():
    """v = v_end (1 - exp(-t / T)), the step response of every textbook."""
    vehicle = Vehicle(None)
    vehicle.by_throttle(0.5)
    for _ in range(300):
        vehicle.advance(0.01)
    expected = 0.5 * TOP_SPEED_M_S * (1 - math.exp(-3.0 / LAG_S))
    assert vehicle.speed_m_s == pytest.approx(expected, rel=0.005)
    vehicle.by_throttle(0.0)
    for _ in range(1500):
        vehicle.advance(0.01)
    assert vehicle.speed_m_s == 0.0


def test_set_speed_is_reached_as_a_machine_does_and_a_nudge_takes_over():
    vehicle = Vehicle(None)
    vehicle.at_speed(3.0)
    assert vehicle.advance(0.01) == pytest.approx(0.02)  # 2 m/s2
    for _ in range(150):
        vehicle.advance(0.01)
    assert vehicle.speed_m_s == 3.0
    vehicle.nudge(0.25)
    vehicle.nudge(0.25)
    assert vehicle.throttle == 0.5
    assert vehicle.advance(0.01) == pytest.approx(3.0)
    vehicle.nudge(-0.7)
    assert vehicle.throttle == 0.0


def test_recorded_drive_begins_anew_where_it_ends():
    vehicle = Vehicle(SpeedTrace("ramp", (0.0, 10.0), (0.0, 5.0)))
    vehicle.recorded()
    assert vehicle.mode == RECORDED
    speeds = [vehicle.advance(1.0) for _ in range(12)]
    assert speeds[:3] == pytest.approx([0.5, 1.0, 1.5])
    assert speeds[10:] == pytest.approx([0.5, 1.0])


# Pace.


def test_pace_follows_the_factor_and_lets_long_pauses_go():
    now = [10.0]
    pacer = Pacer(lambda: now[0])
    now[0] += 0.1
    assert pacer.due_s() == pytest.approx(0.1)
    pacer.factor = 20.0
    now[0] += 0.1
    assert pacer.due_s() == pytest.approx(2.0)
    now[0] += 3600.0
    assert pacer.due_s() == pytest.approx(20.0 * LONGEST_S)
    assert pacer.due_s() == 0.0


# Feed.


def frames(feed, cursor):
    texts, cursor = feed.since(cursor)
    return [json.loads(text) for text in texts], cursor


def test_a_page_gets_what_is_kept_and_then_what_comes():
    feed = Feed()
    feed.begin({"title": "one"})
    feed.publish({"rows": [[1]], "hands": {"master": False}})
    feed.publish({"rows": [[2]], "hands": {"master": True}})
    first, cursor = frames(feed, None)
    assert first == [{"hello": {"title": "one"}, "hands": {"master": True}, "rows": [[1], [2]],
                      "cells": [], "believed": [], "true_slabs": [], "believed_slabs": []}]
    assert frames(feed, cursor) == ([], cursor)
    feed.publish({"rows": [[3]]})
    assert frames(feed, cursor)[0] == [{"rows": [[3]]}]


def test_a_new_machine_makes_every_page_begin_anew():
    feed = Feed()
    feed.begin({"title": "one"})
    feed.publish({"rows": [[1]]})
    _, cursor = feed.since(None)
    feed.begin({"title": "two"})
    anew, _ = frames(feed, cursor)
    assert [frame["hello"] for frame in anew] == [{"title": "two"}]
    assert anew[0]["rows"] == []


def test_a_feed_does_not_grow_and_a_slow_page_begins_anew():
    feed = Feed()
    feed.begin({})
    _, cursor = feed.since(None)
    for i in range(10 * ROWS):
        feed.publish({"rows": [[i]], "cells": [[i, 1.0]]})
    everything, _ = frames(feed, cursor)
    assert len(everything) == 1  # not the many frames that it has missed
    assert [row[0] for row in everything[0]["rows"]] == list(range(9 * ROWS, 10 * ROWS))
    assert len(everything[0]["cells"]) == CELLS
    _, recent = feed.since(None)
    for i in range(FRAMES):
        feed.publish({"rows": [[i]]})
    assert len(frames(feed, recent)[0]) == FRAMES
