"""The map of the field, while it happens: who steers, what lies where, in truth and in belief."""

import json
from itertools import pairwise

import numpy as np
import pytest

from host_sim.common.earth import Origin
from host_sim.maps.swaths import swaths_of
from host_sim.panel.believed_place import BelievedPlace, offset_m
from host_sim.panel.feed import SLABS
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.steering import LEAST_PASS_M, RUN_OUT_M, Steering, turn_round
from host_sim.panel.swath_slabs import SwathSlabs
from host_sim.plant.way import Way
from host_sim.trials.headland import BAR_M, HEADLAND, RUN_UP_M
from host_sim.twin.scenario import DEMO, SCENARIO_DIR, load_scenario
from host_sim.twin.twin import Twin
from rate_control.units import MAX_SECTIONS
from tests.support.panel_game import Played

HEADLAND_TOML = SCENARIO_DIR / "headland.toml"
STEP_M = 0.03

# Steering.


def driven(way, steering, begin_m, length_m, down):
    """Go so far with the implement so; returns the way driven by then."""
    steps = round(length_m / STEP_M)
    for i in range(steps):
        steering.act(begin_m + i * STEP_M, down)
        way.travel(STEP_M)
    return begin_m + steps * STEP_M


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("spacing_m", [0.3, 1.0, 2.9, 3.0, 3.5, 24.0])
def test_a_turn_leads_back_beside_the_pass(spacing_m, side):
    way = Way(heading_deg=90.0)
    arcs = turn_round(spacing_m, side)
    way.follow(arcs)
    way.travel(sum(np.radians(abs(angle)) * radius for angle, radius in arcs))
    assert way.heading_deg == pytest.approx(270.0)
    assert way.east_m == pytest.approx(0.0, abs=0.005)
    assert way.north_m == pytest.approx(-side * spacing_m, abs=0.005)


def test_passes_lie_beside_each_other_up_and_down():
    way = Way()
    steering = Steering(way, 3.5, [])
    at_m, seen = 0.0, []
    for _ in range(4):
        at_m = driven(way, steering, at_m, 40.0, down=True)
        seen.append((way.east_m, way.heading_deg))
        at_m = driven(way, steering, at_m, 20.0, down=False)
    assert [east for east, _ in seen] == pytest.approx([0.0, 3.5, 7.0, 10.5], abs=0.01)
    assert [round(heading) % 360 for _, heading in seen] == [0, 180, 0, 180]


def test_an_implement_that_comes_down_again_goes_on_with_the_pass():
    way = Way()
    steering = Steering(way, 3.5, [])
    at_m = driven(way, steering, 0.0, 20.0, down=True)
    at_m = driven(way, steering, at_m, RUN_OUT_M - 0.5, down=False)
    at_m = driven(way, steering, at_m, 20.0, down=True)
    assert (way.east_m, way.heading_deg) == (0.0, 0.0)
    driven(way, steering, at_m, RUN_OUT_M + 10.0, down=False)
    assert way.heading_deg == pytest.approx(180.0)


def test_a_lift_that_is_tried_out_turns_nothing():
    way = Way()
    steering = Steering(way, 3.5, [])
    at_m = driven(way, steering, 0.0, LEAST_PASS_M - 1.0, down=True)
    driven(way, steering, at_m, 30.0, down=False)
    assert (way.east_m, way.heading_deg) == (0.0, 0.0)


def test_the_turns_of_a_scenario_are_driven_and_then_pass_beside_pass():
    """The way is that of headland.py's own drawing, which reckons with chords."""
    scenario = load_scenario(HEADLAND_TOML)
    drawn = HEADLAND.drive()
    way = Way(scenario.heading_deg)
    steering = Steering(way, 3.5, scenario.events)
    at_m = driven(way, steering, 0.0, 5.0, down=True)  # what hands do turns nothing meanwhile
    at_m = driven(way, steering, at_m, drawn.way_m - 5.0, down=False)
    west_m, south_m = -RUN_UP_M, BAR_M / 2  # where it begins, in the field's own metres
    assert way.east_m + west_m == pytest.approx(drawn.east_m, abs=0.4)
    assert way.north_m + south_m == pytest.approx(drawn.north_m, abs=0.4)
    heading_deg = way.heading_deg
    at_m = driven(way, steering, at_m, 10.0, down=True)
    driven(way, steering, at_m, 15.0, down=False)
    assert abs(way.heading_deg - heading_deg) == pytest.approx(180.0, abs=0.1)


# Slabs.


def test_slabs_are_the_swaths_of_the_report():
    """Fed tick by tick, a drive with turns gives ground, litres and places of its map."""
    scenario = load_scenario(HEADLAND_TOML, field="calm")
    record = Twin(scenario).run()
    swaths = swaths_of(record)
    widths_m = scenario.section_width_m
    slabs = SwathSlabs(len(widths_m))
    place = list(zip(record["true_east_m"], record["true_north_m"], record["true_heading_deg"],
                     strict=True))
    step_m = np.diff(record["true_distance_m"], prepend=0.0)
    applied_ml = np.diff(record.section_ml, axis=0, prepend=0.0)
    wanted = record["wanted_ml_ha"]
    for i, where in enumerate(place):
        target_ml = [step_m[i] * width_m / 1e4 * wanted[i] for width_m in widths_m]
        slabs.add(where, step_m[i], [False] * len(widths_m), applied_ml[i], target_ml,
                  int(wanted[i]))
    told = slabs.take()
    area_m2, litres = 0.0, 0.0
    for slab in told:
        length_m = np.hypot(slab[3] - slab[0], slab[4] - slab[1]) / 100
        for width_m, permille in zip(widths_m, slab[7:], strict=True):
            if permille is not None:
                area_m2 += length_m * width_m
                litres += length_m * width_m / 1e4 * slab[6] / 1e3 * permille / 1e3
    assert area_m2 / 1e4 == pytest.approx(swaths.area_ha, rel=0.02)
    assert litres == pytest.approx(swaths.volume_l, rel=0.02)
    ends = np.array([slab[3:5] for slab in told]) / 100
    nearest = [np.min(np.hypot(*(swaths.way_m - end).T)) for end in ends]
    assert max(nearest) < 0.02
    assert len(told) < record["true_distance_m"][-1]


def lay(slabs, count, length_m, asked, applied, target):
    for i in range(count):
        slabs.add((0.0, (i + 1) * length_m, 0.0), length_m, asked, applied, target, 80_000)


def test_a_section_where_nothing_comes_of_what_is_asked_is_a_slab_of_zero():
    slabs = SwathSlabs(3)
    slabs.add((0.0, 0.0, 0.0), 0.0, [], [], [], 0)
    lay(slabs, 10, 0.25, [True, True, False], [0.0, 1.0, 0.05], [1.0, 1.0, 1.0])
    (slab, *_) = slabs.take()
    assert slab[6:] == [80_000, 0, 1000, None]


def test_ground_that_nobody_knows_the_place_of_is_no_slab():
    slabs = SwathSlabs(1)
    slabs.add((0.0, 0.0, 0.0), 0.0, [True], [0.0], [0.0], 80_000)
    lay(slabs, 5, 0.25, [True], [1.0], [1.0])
    slabs.add(None, 50.0, [True], [200.0], [200.0], 80_000)
    slabs.add((0.0, 51.25, 0.0), 0.25, [True], [1.0], [1.0], 80_000)
    lay(slabs, 1, 0.25, [True], [1.0], [1.0])
    (before,) = slabs.take()
    assert before[1::3][:2] == [0, 125] and slabs.at_told() == [0, 25, 0]


def test_a_valve_that_flutters_makes_no_crowd():
    """From step to step of 2 cm it is open and shut: there are at most four slabs a metre."""
    slabs = SwathSlabs(1)
    for i in range(5001):
        slabs.add((0.0, i * 0.02, 0.0), 0.02, [False], [float(i % 2)], [0.5], 80_000)
    assert len(slabs.take()) <= 4 * 100


def test_what_a_page_gets_at_once_is_bounded(record_property):
    """Eight sections, 50 km out, everything applied: the whole map of a page that opens."""
    slabs = SwathSlabs(MAX_SECTIONS)
    on, each = [True] * MAX_SECTIONS, [1.0] * MAX_SECTIONS
    for i in range(3 * SLABS):
        slabs.add((-50_000.0, 50_000.0 + i * 2.0, 359.9), 2.0, on, each, each, 2_000_000)
    told = slabs.take()
    worst = len(json.dumps(told[-SLABS:], separators=(",", ":")))
    assert worst <= 300_000
    # The fastest machine, twenty times as fast as time, for a frame of a tenth of a second.
    most = round(12.0 * 20 * 0.1 / 0.25)
    assert len(json.dumps(told[:most], separators=(",", ":"))) <= 10_000
    record_property("summary", f"map: {worst / 1e3:.0f} kB for a page that opens, "
                               f"{most} slabs at most in a frame")


# Belief.


@pytest.mark.parametrize("latitude_deg", [-60.0, 0.0, 41.15])
def test_what_lies_between_two_origins_is_that_of_the_ellipsoid(latitude_deg):
    origin = Origin(latitude_deg, 179.999)
    other = Origin(latitude_deg + 0.009, -179.99)  # a kilometre away, beyond the date line
    east_m, north_m = origin.to_metres(np.array([other.latitude_deg]), np.array([180.01]))
    assert offset_m(origin, other) == pytest.approx((east_m[0], north_m[0]), abs=0.6)


def test_a_belief_without_a_fix_has_no_place():
    row = {"east_mm": 1000, "north_mm": 2000, "heading_cdeg": 9000, "fix_quality": 4,
           "origin_lat_e4": 411500, "origin_lon_e4": -964800}
    believed = BelievedPlace()
    assert believed.of(row) == (1.0, 2.0, 90.0)
    assert believed.of(row | {"fix_quality": 0}) is None
    assert believed.of(row | {"heading_cdeg": -1}) is None
    east_m, north_m, _ = believed.of(row | {"origin_lat_e4": 411501})
    assert (east_m, north_m) == (1.0, pytest.approx(2.0 + 11.1, abs=0.05))


WORK = (["master", True], ["implement", True], ["speed", 2.0])


def test_a_controller_that_follows_its_place_lays_its_belief_there():
    scenario = load_scenario(HEADLAND_TOML, field="calm")
    played = Played(LiveTwin(scenario))
    assert played.feed.since(None)[0]
    played.play(20.0, *WORK)
    hello = json.loads(played.feed.since(None)[0][0])["hello"]
    assert hello["follows_place"] is True
    true, believed = played.latest["true_bar"]["at"], played.latest["believed_bar"]["at"]
    assert np.hypot(true[0] - believed[0], true[1] - believed[1]) < 150  # cm
    assert believed != true
    east_cm, north_cm, heading = true
    assert east_cm > 1000 and heading == 2700 and north_cm > 0  # east, then back on the left
    assert played.latest["believed_slabs"]


def test_a_drive_is_a_map_of_passes_and_its_record_knows_the_place():
    played = Played(LiveTwin(load_scenario(DEMO, field="calm")))
    played.play(2.0, *WORK)
    played.play(14.0)
    played.play(7.0, ["spacing", 4.0], ["implement", False])
    played.play(10.0, ["implement", True])
    everything = json.loads(played.feed.since(None)[0][0])
    assert everything["hands"]["spacing_mm"] == 4000
    assert everything["hello"]["follows_place"] is False
    for name in ("true_slabs", "believed_slabs"):  # its belief lies where it truly was
        slabs = everything[name]
        assert {slab[0] for slab in slabs} == {0, 400}
        out = [slab for slab in slabs if slab[0] == 0]
        assert all(one[3:6] == other[:3] for one, other in pairwise(out))
        assert 20_00 < out[-1][4] - out[0][1] < 40_00
    record = played.game.drive.finish()
    assert record.has_place
    assert record["true_east_m"][-1] == pytest.approx(4.0, abs=0.01)
    assert any("4.00 m beside the last" in event["words"] for event in record.about["events"])
