"""Maps of a run, read back by libraries from outside: GeoJSON, task data, shapefile, figures."""

import io
import json
import re
import shlex

import numpy as np
import pytest
import shapefile
from isoxml.models.base import v4 as iso
from isoxml.util.isoxml_io import isoxml_from_path
from pyproj import Geod
from shapely.geometry import shape
from shapely.ops import unary_union

from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.common.earth import Origin
from host_sim.common.errors import InputError
from host_sim.maps.covered import closed_in, covered_by, inside
from host_sim.maps.files import map_files
from host_sim.maps.swaths import Piece, Swaths, swaths_of
from host_sim.maps.taskdata_read import read_taskdata
from host_sim.runs.files import write_run
from host_sim.runs.measured import as_measured
from host_sim.runs.summary import summarise
from host_sim.twin.twin import Twin
from tests.support.placed_drives import CORRECTED, placed

GEOD = Geod(ellps="WGS84")
HOW_TO = REPO_ROOT / "docs/how_to/make_maps.md"


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    return Twin(placed(tmp_path_factory.mktemp("field"), CORRECTED)).run()


@pytest.fixture(scope="module")
def folder(record, tmp_path_factory):
    """The files of `map`."""
    folder = tmp_path_factory.mktemp("maps")
    write_run(folder / "run", record, summarise(record) | {"wall_seconds": None}, False)
    assert main(["map", str(folder / "run"), "--out", str(folder / "maps")]) == 0
    return folder / "maps"


def test_volumes_add_up_to_the_run(record):
    figures, swaths = summarise(record), swaths_of(record)
    assert swaths.volume_l == pytest.approx(figures["volume_l"], rel=1e-9)
    assert swaths.area_ha == pytest.approx(figures["area_ha"], rel=0.01)
    believed = as_measured(record)
    assert swaths_of(believed).volume_l == pytest.approx(
        summarise(believed)["volume_l"], rel=1e-9)


def test_geojson_keeps_the_standard(folder, record):
    """RFC 7946: 3.1.6 rings closed and exterior counter-clockwise; 5 the bounding box; 4 WGS 84,
    longitude first. Areas by PROJ's geodesics."""
    data = json.loads((folder / "swaths.geojson").read_text())
    assert data["type"] == "FeatureCollection"
    shapes = [shape(feature["geometry"]) for feature in data["features"]]
    for feature, one in zip(data["features"], shapes, strict=True):
        ring = feature["geometry"]["coordinates"][0]
        assert ring[0] == ring[-1] and len(ring) == 5
        assert one.exterior.is_ccw and one.is_valid
        area_m2, _ = GEOD.geometry_area_perimeter(one)
        assert area_m2 == pytest.approx(feature["properties"]["area_m2"], rel=0.02, abs=0.01)
    assert data["bbox"] == pytest.approx(unary_union(shapes).bounds)
    assert -96.481 < data["bbox"][0] < data["bbox"][2] < -96.479
    told_l = sum(feature["properties"]["volume_l"] + feature["properties"]["after_l"]
                 for feature in data["features"])
    assert told_l == pytest.approx(summarise(record)["volume_l"], rel=1e-3)
    assert {feature["properties"]["section"] for feature in data["features"]} == {1, 2, 3}


def test_first_section_is_on_the_left(folder):
    """On the pass to the north its swath is the westernmost."""
    data = json.loads((folder / "swaths.geojson").read_text())
    first = [feature for feature in data["features"] if feature["properties"]["start_s"] < 20]
    west = {}
    for feature in first:
        longitude = shape(feature["geometry"]).centroid.x
        west.setdefault(feature["properties"]["section"], []).append(longitude)
    assert np.mean(west[1]) < np.mean(west[2]) < np.mean(west[3])


def test_task_data_is_the_same_to_a_library_from_outside(folder, record, record_property):
    """PyPI isoxml 0.0.4, which reads by bindings made from the standard's schema."""
    task_data, binary = isoxml_from_path(folder / "TASKDATA")
    swaths = swaths_of(record)
    assert isinstance(task_data, iso.Iso11783TaskData)
    time = task_data.tasks[0].times[0]
    totals = {(int.from_bytes(value.process_data_ddi, "big"), value.device_element_id_ref):
              value.process_data_value for value in time.data_log_values}
    litres, hectares = totals[351, "DET-2"] / 1e3, totals[116, "DET-2"] / 1e4
    record_property("summary", f"task data read by isoxml: {litres:.3f} L of "
                    f"{swaths.volume_l:.4f} L, {hectares:.4f} ha of {swaths.area_ha:.5f} ha")
    assert litres == pytest.approx(swaths.volume_l, rel=1e-3)
    assert hectares == pytest.approx(swaths.area_ha, rel=1e-3)
    for index in range(3):
        own = [piece for piece in swaths.pieces if piece.section == index]
        assert totals[351, f"DET-{index + 3}"] / 1e3 == pytest.approx(
            sum(piece.volume_l + piece.after_l for piece in own), rel=1e-3)
    device = task_data.devices[0]
    assert [element.type for element in device.elements] == [
        iso.DeviceElementType.Device, iso.DeviceElementType.Function,
        *[iso.DeviceElementType.Section] * 3]
    assert [prop.value for prop in device.properties] == [1000, 1500, 1000]
    assert task_data.tasks[0].treatment_zones[0].process_data_variables[0].process_data_value == (
        800_000)  # 80 L/ha in 0.01 mm3/m2
    assert set(binary) == {"TLG00001"}


def test_time_log_integrates_to_the_same_litres(folder, record):
    """Rate x width x way between its records, the way by geodesics."""
    task = read_taskdata(folder / "TASKDATA")
    swaths = swaths_of(record)
    assert task.volume_l == pytest.approx(swaths.volume_l, rel=1e-3)
    assert task.area_ha == pytest.approx(swaths.area_ha, rel=1e-3)
    assert task.wanted_l_ha == [80.0]
    rates, litres = {}, 0.0
    for before, after in zip(task.log, task.log[1:], strict=False):
        for (number, element), value in before.values.items():
            if number == 2:
                rates[element] = value / 10_000
        _, _, way_m = GEOD.inv(before.longitude_deg, before.latitude_deg,
                               after.longitude_deg, after.latitude_deg)
        for element, rate in rates.items():
            width_m = swaths.widths_m[int(element.removeprefix("DET-")) - 3]
            litres += rate * width_m * way_m / 1e4
    after_l = sum(piece.after_l for piece in swaths.pieces)
    assert litres == pytest.approx(swaths.volume_l - after_l, rel=0.01)
    assert all(moment.placed for moment in task.log)


@pytest.mark.parametrize(("change", "told"), [
    (("TASKDATA.XML", b"TSK", b"TSX"), "with one TSK"),
    (("TASKDATA.XML", b'<?xml', b'<!DOCTYPE x [<!ENTITY a "b">]><?xml'), "declares a document"),
    (("TASKDATA.XML", b'A="015F" B="', b'A="015F" B="x'), "is no whole number"),
    (("TASKDATA.XML", b"</TSK>", b""), "is no XML"),
    (("TASKDATA.XML", b'TLG A="TLG00001"', b'TLG A="../TLG01"'), "no name of a time log"),
    (("TLG00001.BIN", b"", b"\x01\x02"), "the record is not whole")])
def test_damaged_task_data_is_refused(folder, tmp_path, change, told):
    for path in (folder / "TASKDATA").iterdir():
        data = path.read_bytes()
        if path.name == change[0]:
            data = data.replace(change[1], change[2]) if change[1] else data + change[2]
        (tmp_path / path.name).write_bytes(data)
    with pytest.raises(InputError, match=told):
        read_taskdata(tmp_path)


def test_shapefile_holds_the_same(folder, record):
    with shapefile.Reader(str(folder / "swaths.shp")) as reader:
        records, shapes = reader.records(), reader.shapes()
        swaths = swaths_of(record)
        assert len(records) == len(swaths.pieces)
        assert sum(row["volume_l"] + row["after_l"] for row in records) == pytest.approx(
            swaths.volume_l, rel=1e-3)
        assert shapes[0].bbox[0] == pytest.approx(-96.48, abs=0.001)
    assert "WGS" in (folder / "swaths.prj").read_text()


def rectangle(stroke, west, south, east, north):
    ring = np.array([(east, south), (east, north), (west, north), (west, south)], dtype=float)
    return Piece(0, stroke, 0.0, 1.0, ring, (east - west) * (north - south) / 1e4, 1.0, 100.0)


def field_of(*pieces):
    return Swaths(Origin(41.15, -96.48), [2.0], np.zeros(2), np.zeros((2, 2)), list(pieces))


def test_overlap_and_skip_are_those_of_rectangles():
    """Two of 2 x 10 m that lie over each other by 0.5 m, and a third one 0.4 m away."""
    covered = covered_by(field_of(rectangle(0, 0, 0, 2, 10), rectangle(1, 1.5, 0, 3.5, 10),
                                  rectangle(2, 3.9, 0, 5.9, 10)))
    assert covered.ground_ha * 1e4 == pytest.approx(55, abs=0.6)
    assert covered.overlap_ha * 1e4 == pytest.approx(5, abs=0.5)
    assert covered.skipped_ha * 1e4 == pytest.approx(4, abs=0.6)


def test_pieces_of_one_stroke_are_no_overlap():
    covered = covered_by(field_of(rectangle(0, 0, 0, 2, 10), rectangle(0, 0, 9.5, 2, 20)))
    assert covered.overlap_ha == 0
    assert covered_by(field_of()) is None


def test_points_in_a_triangle():
    triangle = np.array([(0.0, 0.0), (4.0, 0.0), (0.0, 4.0)])
    x, y = np.array([0.5, 3.0, 1.9, 2.1]), np.array([0.5, 3.0, 1.9, 2.1])
    assert inside(triangle, x, y).tolist() == [True, False, True, False]
    bare = closed_in(np.pad(np.ones((5, 5), dtype=bool), 20), 3)
    assert not bare.any()


def test_run_that_does_not_know_its_place_is_refused(record, tmp_path, capsys):
    columns = {name: column for name, column in record.columns.items()
               if name not in ("true_east_m", "true_north_m", "true_heading_deg")}
    with pytest.raises(InputError, match="does not know where it was"):
        map_files(type(record)(columns, record.about), False)
    assert main(["map", str(tmp_path / "nothing"), "--out", str(tmp_path / "maps")]) == 2
    assert not (tmp_path / "maps").exists()


def test_belief_is_another_map(record):
    files, field_map = map_files(record, False, belief=True)
    assert [name for name, _ in field_map.swaths] == ["as measured"]
    true, _ = map_files(record, False)
    assert files["swaths.geojson"] != true["swaths.geojson"]
    assert b"viewBox" in true["map.svg"] and b"var(--" not in true["map.svg"]
    assert b"http" not in re.sub(rb'xmlns(:\w+)?="[^"]*"', b"", true["map.svg"])


def test_piece_without_a_place_has_no_geometry(record):
    lost = as_measured(record)
    lost.columns["fix_quality"] = lost["fix_quality"] * (lost["time_s"] < 20)
    files, _ = map_files(lost, False)
    data = json.loads(files["swaths.geojson"])
    without = [one for one in data["features"] if one["geometry"] is None]
    assert without and len(without) < len(data["features"])
    with shapefile.Reader(shp=io.BytesIO(files["swaths.shp"]),
                          dbf=io.BytesIO(files["swaths.dbf"])) as reader:
        assert sum(one.shapeType == shapefile.NULL for one in reader.shapes()) == len(without)


def test_how_to_is_followed(tmp_path, monkeypatch, capsys):
    """Every command of the page, in its order, from an empty folder."""
    commands = re.findall(r"^    python -m host_sim (.*)$", HOW_TO.read_text(), re.MULTILINE)
    assert len(commands) >= 3
    monkeypatch.chdir(tmp_path)
    (tmp_path / "host_sim").symlink_to(REPO_ROOT / "host_sim")
    for command in commands:
        assert main(shlex.split(command)) == 0, command
    assert (tmp_path / "out/maps/TASKDATA/TASKDATA.XML").exists()
    assert "covered again" in capsys.readouterr().out
