"""A run from nothing but what the controller knew: close to the truth where its sensors are."""

import re

import numpy as np
import pytest

from host_sim import FIRMWARE_DIR
from host_sim.runs.measured import as_measured, is_simulated
from host_sim.runs.recording_run import BOARDS, run_of
from host_sim.runs.summary import summarise
from host_sim.twin.twin import Twin
from tests.support.drives import START, made_up_record, short_scenario, wanted_flow_ml_s
from tests.support.recorded_twin import record_twin

EVENTS = START + (
    '[[event]]\nat_s = 10\nimplement = "up"\n[[event]]\nat_s = 13\nimplement = "down"\n'
    '[[event]]\nat_s = 20\nsection = 2\nswitch = "off"\n'
    '[[event]]\nat_s = 24\nsection = 2\nswitch = "on"\n'
    "[[event]]\nat_s = 28\nrate_l_ha = 95\n"
)


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return short_scenario(tmp_path_factory.mktemp("scenario"), EVENTS, speeds="0,2\n40,2.5\n")


@pytest.fixture(scope="module")
def truth(scenario):
    return Twin(scenario).run()


@pytest.fixture(scope="module")
def recorded(scenario, tmp_path_factory):
    """The run in a recording of the same drive, and what was let out in truth."""
    path = tmp_path_factory.mktemp("recorded") / "field.rec"
    let_out_ml = record_twin(path, scenario)
    return run_of(path), let_out_ml


def test_a_recording_is_judged_nearly_as_the_truth(recorded, truth):
    """Ten records a second of some six pulses each: counts alone would be off by 17 %.

    Of five changes in 40 s the meter shows each a little late, but the pump is led to them.
    """
    run, let_out_ml = recorded
    figures, true_figures = summarise(run), summarise(truth)
    assert figures["distance_within_5_pct"] == pytest.approx(
        true_figures["distance_within_5_pct"], abs=3)
    assert figures["rate_error_p50_pct"] == pytest.approx(
        true_figures["rate_error_p50_pct"], abs=0.5)
    assert figures["volume_l"] == pytest.approx(sum(let_out_ml) / 1e3, rel=0.005)
    assert figures["area_ha"] == pytest.approx(true_figures["area_ha"], rel=0.01)
    assert figures["target_l_ha"] == pytest.approx(true_figures["target_l_ha"], rel=0.002)


def test_totals_are_those_that_were_counted(recorded):
    run, _ = recorded
    figures = summarise(run)
    assert figures["volume_l"] == pytest.approx(figures["controller_volume_l"], rel=1e-9)
    assert sum(row["volume_l"] for row in figures["sections"]) == pytest.approx(
        figures["volume_l"])


def test_events_are_seen_in_the_switches(recorded, truth):
    run, _ = recorded
    seen = [event["words"] for event in run.about["events"]]
    assert seen == [event["words"] for event in truth.about["events"]]
    late_s = np.subtract([event["time_s"] for event in run.about["events"]],
                         [event["time_s"] for event in truth.about["events"]])
    assert np.all(late_s >= -0.11) and np.all(late_s <= 0.3)  # debounced, ten a second


def test_a_recording_tells_its_board_and_its_end(recorded):
    run, _ = recorded
    assert run.about["board"]["firmware"]
    assert run.about["cut_off"] == ""
    assert is_simulated(run)


def test_boards_that_are_no_simulation():
    """Those that the firmware has, and no other."""
    sources = [path.read_text() for path in (FIRMWARE_DIR / "boards").glob("*.py")]
    found = {name for text in sources
             for name in re.findall(r"^class (\w+)\(PinBoard\)", text, re.M)}
    assert found == set(BOARDS)


def test_a_run_of_the_twin_as_its_controller_knew_it(truth):
    figures, true_figures = summarise(as_measured(truth)), summarise(truth)
    for name in ("distance_m", "area_ha", "volume_l", "target_l_ha"):
        assert figures[name] == pytest.approx(true_figures[name], rel=0.01)
        assert figures[name] != true_figures[name]
    assert figures["controller_volume_l"] == pytest.approx(
        true_figures["controller_volume_l"], rel=1e-3)
    assert np.isnan(as_measured(truth)["true_pressure_bar"]).all()


def test_what_is_measured_already_stays(recorded):
    run, _ = recorded
    assert as_measured(run) is run


def test_over_long_intervals_the_counts_say_it():
    """Every 2 s a record, each with a last estimate that is far off: only counts matter."""
    speed = np.full(50, 2.0)
    flow = wanted_flow_ml_s(100, speed, 2.0)
    record = made_up_record(speed, flow)
    record.about["measured"] = True
    record.columns["time_s"] = np.arange(51) * 2.0
    record.columns["true_flow_ml_s"] *= 3
    figures = summarise(record)
    assert figures["rate_error_rms_pct"] == pytest.approx(0.0, abs=1e-9)


def test_a_recording_that_breaks_off_says_so(scenario, recorded, tmp_path):
    short = tmp_path / "short.rec"
    record_twin(short, short_scenario(tmp_path, START, speeds="0,2\n5,2\n"))
    whole = short.read_bytes()
    assert run_of(short).about["cut_off"] == ""
    short.write_bytes(whole[: len(whole) // 2])
    broken = run_of(short)
    assert "breaks off" in broken.about["cut_off"]
    assert broken.about["damaged_lines"] <= 1
    assert summarise(broken)["ticks"] > 10
