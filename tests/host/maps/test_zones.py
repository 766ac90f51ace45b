"""Zones from GeoJSON to the rate on the ground, the grid checked against shapely."""

import json
import random

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from app.zones import Zones, problem_of
from host_sim.__main__ import main
from host_sim.common.earth import Origin
from host_sim.common.errors import InputError
from host_sim.maps.zone_file import grid_of, read_zones, zone_bytes
from host_sim.twin.scenario import load_scenario
from host_sim.twin.twin import Twin
from tests.shared.panel_rig import PanelRig
from tests.support.placed_drives import CORRECTED, placed

ORIGIN = Origin(41.15, -96.48)


def ring(*corners_m):
    latitude, longitude = ORIGIN.to_degrees(*np.array(corners_m, dtype=float).T)
    places = [[float(x), float(y)] for x, y in zip(longitude, latitude, strict=True)]
    return [*places, places[0]]


def feature(properties, *rings, kind="Polygon"):
    coordinates = list(rings) if kind == "Polygon" else [[one] for one in rings]
    return {"type": "Feature", "properties": properties,
            "geometry": {"type": kind, "coordinates": coordinates}}


def square(west, south, side):
    return ring((west, south), (west + side, south), (west + side, south + side),
                (west, south + side))


def written(folder, *features):
    path = folder / "zones.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features)}))
    return path


def test_grid_is_that_of_the_polygons(tmp_path):
    """Three shapes with a hole and an overlap; away from edges every point has its zone."""
    slanted = [(0, 0), (120, 15), (90, 140), (-20, 100)]
    hole = [(30, 40), (60, 40), (60, 70), (30, 70)]
    path = written(tmp_path, feature({"rate": "60 L/ha"}, ring(*slanted), ring(*hole)),
                   feature({"rate_l_ha": 90}, square(80, 60, 30), square(-60, 0, 20),
                           kind="MultiPolygon"))
    grid = grid_of(read_zones(path), 8000)
    data = zone_bytes(grid)
    assert len(data) <= 8000 and problem_of(data) == ""
    zones = Zones(PanelRig().app, None, data)
    plane_at = Origin(grid.origin_e4[0] / 1e4, grid.origin_e4[1] / 1e4)
    first, second = Polygon(slanted, [hole]), Polygon([(80, 60), (110, 60), (110, 90), (80, 90)])
    third = Polygon([(-60, 0), (-40, 0), (-40, 20), (-60, 20)])
    rng, seen = random.Random(1), set()
    reach_m = grid.cell_mm / 1e3
    for _ in range(3000):
        point = Point(rng.uniform(-80, 140), rng.uniform(-20, 160))
        if min(shape.boundary.distance(point) for shape in (first, second, third)) < reach_m:
            continue
        wanted = 2 if second.contains(point) or third.contains(point) else int(
            first.contains(point))
        east, north = plane_at.to_metres(*ORIGIN.to_degrees(np.array(point.x), np.array(point.y)))
        assert zones.at(round(float(east) * 1e3), round(float(north) * 1e3)) == wanted
        seen.add(wanted)
    assert seen == {0, 1, 2}
    assert grid.area_ha(2) == pytest.approx(0.13, rel=0.03)


@pytest.mark.parametrize(("properties", "rings", "told"), [
    ({}, [square(0, 0, 9)], "properties: need one of rate, rate_l_ha and rate_gal_ac"),
    ({"rate": "80"}, [square(0, 0, 9)], "properties.rate: "),
    ({"rate_l_ha": True}, [square(0, 0, 9)], "properties.rate_l_ha: must be a number"),
    ({"rate_l_ha": 0}, [square(0, 0, 9)], "properties.rate_l_ha: must be 1.0 L/ha to"),
    ({"rate_gal_ac": 9e9}, [square(0, 0, 9)], "properties.rate_gal_ac: must be"),
    ({"rate_l_ha": 80}, [square(0, 0, 9)[:-1]], "the last as the first"),
    ({"rate_l_ha": 80}, [[["a", 1]] * 4], "a ring must be a list"),
    ({"rate_l_ha": 80}, [[[1, 85]] * 4], "within 180 degrees"),
    ({"rate_l_ha": 80}, [square(0, 0, 20000)], "further than 5 km"),
    ({"rate_l_ha": 80}, [], "must be lists of rings")])
def test_bad_zones_are_refused_in_a_line(tmp_path, capsys, properties, rings, told):
    path = written(tmp_path, feature(properties, *rings))
    assert main(["zones", str(path), "--out", str(tmp_path / "zones.bin")]) == 2
    error = capsys.readouterr().err
    assert told in error and error.count("\n") == 1 and "zones.geojson" in error
    assert not (tmp_path / "zones.bin").exists()


def test_sixteen_rates_are_too_many_and_no_feature_none(tmp_path):
    features = [feature({"rate_l_ha": 50 + index}, square(10 * index, 0, 9))
                for index in range(16)]
    with pytest.raises(InputError, match="16 different rates"):
        grid_of(read_zones(written(tmp_path, *features)), 8000)
    with pytest.raises(InputError, match="there are none"):
        read_zones(written(tmp_path))


def test_verb_prints_rates_and_areas(tmp_path, capsys):
    path = written(tmp_path, feature({"rate_l_ha": 60}, square(0, 0, 100)),
                   feature({"rate_gal_ac": 12}, square(100, 0, 100)))
    out = tmp_path / "zones.bin"
    assert main(["zones", str(path), "--out", str(out), "--size", "2000"]) == 0
    told = capsys.readouterr().out
    assert "60.0 L/ha" in told and "112.2 L/ha" in told and "1.00 ha" in told
    assert out.stat().st_size <= 2000


def test_zones_that_a_board_would_not_use_are_told(tmp_path):
    """Without its position it sets no rate by them, and says nothing of them either."""
    path = written(tmp_path, feature({"rate_l_ha": 60}, square(-20, -12, 40)))
    (tmp_path / "zones.bin").write_bytes(zone_bytes(grid_of(read_zones(path), 8000)))
    placed(tmp_path, CORRECTED, head='zones = "zones.bin"\n')
    machine = tmp_path / "placed.machine.toml"
    machine.write_text(machine.read_text().replace('position_use = "record"', ""))
    with pytest.raises(InputError, match="drive.zones: the board uses none"):
        load_scenario(tmp_path / "placed.toml")


def test_rate_changes_on_the_ground_where_the_zones_do(tmp_path, record_property):
    """A drive to the north over 40 m: 60 L/ha up to 28 m from its start, 90 L/ha beyond."""
    scenario = placed(tmp_path, CORRECTED, events=((6, 'implement = "down"'),), way_m=48.0)
    path = written(tmp_path, feature({"rate_l_ha": 60}, square(-20, -12, 40)),
                   feature({"rate_l_ha": 90}, square(-20, 28, 40)))
    scenario.zones = zone_bytes(grid_of(read_zones(path), 8000))
    record = Twin(scenario).run()
    area_ha = np.diff(record["true_distance_m"]) * 3.5 / 1e4
    litres = np.diff(record.section_ml.sum(axis=1)) / 1e3
    north = record["true_north_m"][1:]

    def rate(start_m, end_m):
        some = (north > start_m) & (north < end_m)
        return litres[some].sum() / area_ha[some].sum()

    wanted = record["wanted_ml_ha"][1:]  # that of the ground, not of a hand that set none
    assert set(wanted[(north > 2) & (north < 27.9)]) == {60_000}
    assert set(wanted[north > 28.1]) == {90_000}
    assert rate(10, 27) == pytest.approx(60, rel=0.03)
    assert rate(30, 47) == pytest.approx(90, rel=0.03)
    steps = np.where(north > 10, np.diff(record["target_ul_s"]), 0)
    change_m = north[steps.argmax()]  # the look-ahead's flicker makes smaller ones
    record_property("summary", f"zones: the rate changes {change_m - 28:+.2f} m from the edge")
    assert abs(change_m - 28) < 0.6
