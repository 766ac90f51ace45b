"""A whole drive with a receiver: where the controller took its outlets to be, against the truth."""

import json

import numpy as np
import pytest
from frictionless import Package

from app.position import NAMES
from host_sim.common.earth import Origin
from host_sim.common.errors import InputError
from host_sim.runs.files import load_run, read_run, write_run
from host_sim.runs.measured import as_measured
from host_sim.runs.places import believed_m
from host_sim.runs.recording_run import read_recording
from host_sim.runs.summary import summarise
from host_sim.twin.twin import Twin
from tests.support.placed_drives import CORRECTED, UNCORRECTED, placed
from tests.support.recorded_twin import record_twin

ANTENNA = {"ahead_m": 1.5, "right_m": 0.3}
MEASURED = 'antenna = ["1.5 m", "0 m", "0.3 m", "0 m"]\nantenna_lag = "0.15 s"\n'


def off_m(record):
    """How far off the believed place is, from the first fix on."""
    east, north = believed_m(record.columns, Origin(**record.about["place"]))
    known = record["fix_quality"] > 0
    off = np.hypot(east - record["true_east_m"], north - record["true_north_m"])[known]
    return off[off.size // 10 :]


@pytest.mark.parametrize(("receiver", "rms_m"), [(CORRECTED, 0.04), (UNCORRECTED, 2.0)])
def test_place_is_as_good_as_the_receiver(tmp_path, record_property, receiver, rms_m):
    record = Twin(placed(tmp_path, receiver | ANTENNA, MEASURED)).run()
    off = off_m(record)
    rms = float(np.sqrt(np.mean(off**2)))
    record_property("summary", f"place with {receiver['hz']} reports a second, quality "
                               f"{receiver.get('quality', 1)}: {rms:.3f} m off, rms")
    assert rms < rms_m
    turn = np.abs(record["true_heading_deg"] - 90) < 45
    assert turn.any()


def test_a_second_without_a_fix_is_bridged_by_the_wheel(tmp_path):
    """At 1.4 m/s a receiver of one report a second moves 1.4 m from fix to fix."""
    exact = {"hz": 1, "drift_m": 0, "jitter_m": 0, "course_deg": 0, "noise_m_s": 0}
    record = Twin(placed(tmp_path, exact | ANTENNA, MEASURED, field="calm")).run()
    straight = np.abs((record["true_heading_deg"] + 90) % 180 - 90) < 1
    east, north = believed_m(record.columns, Origin(**record.about["place"]))
    off = np.hypot(east - record["true_east_m"], north - record["true_north_m"])
    late = (record["time_s"] > 10) & straight & (record["fix_quality"] > 0)
    settled = late & (np.abs(record["true_distance_m"] - 55) > 6)
    assert off[settled].max() < 0.05


@pytest.mark.parametrize(("settings", "least_m"), [
    (MEASURED.replace("1.5 m", "0 m"), 1.4), (MEASURED.replace('"0.15 s"', '"0.65 s"'), 0.6)])
def test_wrong_antenna_or_lag_shows(tmp_path, settings, least_m):
    """1.5 m of offset, and half a second at 1.4 m/s, that nobody told it of."""
    record = Twin(placed(tmp_path, CORRECTED | ANTENNA, settings)).run()
    assert float(np.median(off_m(record))) > least_m


def test_lost_fix_leaves_no_quality(tmp_path):
    scenario = placed(tmp_path, CORRECTED, events=((20, "gnss_lost = true"),))
    record = Twin(scenario).run()
    assert record["fix_quality"][-1] == 0 and record["fix_age_ms"][-1] > 3000
    assert record["fix_quality"].max() == 4


def test_run_keeps_the_place_and_is_read_back(tmp_path):
    record = Twin(placed(tmp_path, CORRECTED, head="heading_deg = 30\n", way_m=30.0)).run()
    out = tmp_path / "out"
    write_run(out, record, summarise(record) | {"wall_seconds": None}, False)
    again, _ = read_run(out)
    for name in ("true_east_m", "true_heading_deg", *NAMES):
        assert np.allclose(again[name], record[name], atol=0.01)
    assert again.about["place"] == {"latitude_deg": 41.15, "longitude_deg": -96.48}
    assert Package(str(out / "datapackage.json")).validate().valid
    measured = as_measured(record)
    assert measured.has_place
    assert measured.about["place"] == {"latitude_deg": 41.15, "longitude_deg": -96.48}
    summary = json.loads((out / "summary.json").read_text())
    summary["about"]["place"]["latitude_deg"] = 91
    (out / "summary.json").write_text(json.dumps(summary))
    with pytest.raises(InputError, match="about.place: must be a table with numbers"):
        read_run(out)


def test_recording_of_a_board_has_the_place(tmp_path):
    scenario = placed(tmp_path, CORRECTED | ANTENNA, MEASURED, way_m=30.0)
    path = tmp_path / "field.rec"
    record_twin(path, scenario)
    assert read_recording(path).sessions[0].names[-len(NAMES):] == list(NAMES)
    record, _ = load_run(path)
    assert record.has_place and record.about["place"]["latitude_deg"] == 41.15
    assert record["true_north_m"][-1] == pytest.approx(30, abs=0.6)
    assert abs(record["true_east_m"][-1]) < 0.3


def test_off_by_default_a_run_has_no_place(tmp_path):
    scenario = placed(tmp_path, {"hz": 0}, events=((8, 'implement = "down"'),), way_m=20.0)
    scenario.settings.position_use = 0
    record = Twin(scenario).run()
    assert not record.has_place and not set(NAMES) & set(record.columns)
    assert "place" not in record.about


@pytest.mark.parametrize(("events", "told"), [
    (((5, "turn_deg = 0"),), "turn_deg: must be up to 720 to the right"),
    (((5, "turn_deg = -800"),), "turn_deg: must be at least -720"),
    (((5, "turn_deg = 90\nradius_m = 0.01"),), "radius_m: must be 0.1 m to 1000 m"),
    (((5, 'implement = "down"\nradius = "3 m"'),), "radius: goes together with turn_deg")])
def test_turns_that_make_no_sense_are_refused(tmp_path, events, told):
    with pytest.raises(InputError, match=told):
        placed(tmp_path, CORRECTED, events=events)
    with pytest.raises(InputError, match=r"drive.latitude_deg: must be -80 to 80"):
        placed(tmp_path, CORRECTED, head="latitude_deg = 81\n")
