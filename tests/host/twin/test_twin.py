"""The twin: the firmware's controller in the simulated machine, from hands to orifices."""

from __future__ import annotations

import numpy as np
import pytest

from host_sim.runs.record import RunRecord
from host_sim.runs.summary import summarise
from host_sim.twin.clock import START_US, WRAP_US
from host_sim.twin.disturbances import CALM
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.twin import Twin
from rate_control.interlock import APPLYING, FAULT, PARKED, READY
from tests.support.drives import START, short_scenario


@pytest.fixture(scope="module")
def demo() -> RunRecord:
    return Twin(load_scenario(DEMO)).run()


@pytest.fixture(scope="module")
def calm_demo() -> RunRecord:
    return Twin(load_scenario(DEMO, field=CALM)).run()


def drive(tmp_path, events: str = START, **kind: str) -> tuple[RunRecord, Twin]:
    twin = Twin(short_scenario(tmp_path, events, **kind))
    return twin.run(), twin


def state_at(record: RunRecord, time_s: float) -> int:
    return int(record["state"][np.searchsorted(record["time_s"], time_s)])


# The main job, on the recorded trace.


def test_demo_keeps_the_rate_in_an_ordinary_field(demo, record_property):
    figures = summarise(demo)
    assert demo.about["field"] == "ordinary"
    assert figures["distance_within_5_pct"] >= 98.0
    assert figures["rate_error_rms_pct"] <= 2.4
    assert figures["metre_within_5_pct"] >= 99.3
    assert figures["metre_rms_pct"] <= 2.5
    assert figures["faults"] == figures["warnings"] == []
    record_property("summary", "recorded drive, ordinary field: {metre_within_5_pct:.2f} % of the "
                    "metres within 5 %, {metre_rms_pct:.2f} % rms".format(**figures))


def test_demo_keeps_the_rate(calm_demo, record_property):
    figures = summarise(calm_demo)
    assert figures["distance_m"] > 5000
    assert figures["distance_within_5_pct"] >= 99.0
    assert figures["rate_error_rms_pct"] <= 1.5
    assert figures["controller_volume_l"] == pytest.approx(figures["volume_l"], rel=0.005)
    assert figures["controller_area_ha"] == pytest.approx(figures["area_ha"], rel=0.005)
    assert figures["mean_rate_l_ha"] == pytest.approx(figures["target_l_ha"], rel=0.01)
    assert figures["faults"] == figures["warnings"] == []
    assert figures["lifts"] == 4
    record_property("summary", "recorded drive: rms rate error {rate_error_rms_pct:.2f} %, "
                    "{distance_within_5_pct:.2f} % of the distance within 5 %".format(**figures))


def test_demo_crosses_the_wrap_of_the_clock_while_applying(demo):
    wraps_at_s = (WRAP_US - START_US) / 1e6
    assert state_at(demo, wraps_at_s - 0.1) == state_at(demo, wraps_at_s + 0.1) == APPLYING
    assert np.count_nonzero(np.diff(demo["now_us"]) < 0) == 2  # 1542 s are more than 2**30 us


def test_demo_volume_is_the_integral_of_the_flow(demo):
    integral_ml = np.trapezoid(demo["true_flow_ml_s"], demo["time_s"])
    assert demo.section_ml[-1].sum() == pytest.approx(integral_ml, rel=2e-3)


def test_demo_lets_nothing_out_while_lifted(demo):
    """A section valve takes 40 ms to close, so a tick after the lift all must be shut."""
    volume = np.diff(demo.section_ml.sum(axis=1))
    off = (demo["state"][:-1] != APPLYING) & (np.roll(demo["state"][:-1], 1) != APPLYING)
    assert off.sum() > 500
    assert volume[off].max() == 0.0


def test_same_seed_same_bits_other_seed_other_bits(tmp_path):
    noisy = "[twin.ground]\nnoise = '0.05 m/s'\n"
    scenario = short_scenario(tmp_path, machine=noisy)
    first, again = Twin(scenario).run(), Twin(scenario).run()
    for name in first.columns:
        assert np.array_equal(first[name], again[name]), name
    scenario.seed = 2
    assert not np.array_equal(first["speed_mm_s"], Twin(scenario).run()["speed_mm_s"])


def test_every_tick_is_recorded_in_step(tmp_path):
    record, twin = drive(tmp_path)
    assert len(record) == 400
    assert record["time_s"].tolist() == [(tick + 1) * 50 / 1000 for tick in range(400)]
    assert np.diff(record["true_distance_m"])[1:] == pytest.approx(0.1)
    assert twin.machine.distance_m == record["true_distance_m"][-1]


def test_progress_is_told_and_inputs_are_handed_over(tmp_path):
    shares: list[float] = []
    ticks: list[tuple[int, int, int]] = []
    twin = Twin(
        short_scenario(tmp_path, speeds="0,2\n60,2\n"),
        lambda inputs, request, now_us: ticks.append(
            (inputs.speed_count, request.rate_ml_ha, now_us)),
    )
    record = twin.run(shares.append)
    assert shares == sorted(shares) and len(shares) > 1 and shares[-1] <= 1.0
    assert [now_us for _, _, now_us in ticks] == record["now_us"].tolist()
    assert {rate for _, rate, _ in ticks} == {80_000}


# What hands do.


def test_nothing_moves_before_the_master_was_seen_off_then_on(tmp_path):
    record, _ = drive(tmp_path, '[[event]]\nat_s = 0\nmaster = "on"\nimplement = "down"\n'
                                '[[event]]\nat_s = 5\nmaster = "off"\n'
                                '[[event]]\nat_s = 6\nmaster = "on"\n')
    assert state_at(record, 4.9) == PARKED
    assert record.section_ml[:120].sum() == 0.0
    assert state_at(record, 7.0) == APPLYING
    assert record.section_ml[-1].min() > 0.0


def test_a_lift_and_a_section_switch_reach_the_ground(tmp_path):
    record, twin = drive(tmp_path, START +
        '[[event]]\nat_m = 20\nimplement = "up"\n[[event]]\nat_m = 24\nimplement = "down"\n'
        '[[event]]\nat_s = 15\nsection = 2\nswitch = "off"\n')
    lifted = (record["time_s"] > 10.3) & (record["time_s"] < 11.9)
    assert set(record["state"][lifted]) == {READY}
    last_second = record.section_ml[-1] - record.section_ml[-21]
    assert last_second[1] == 0.0
    assert last_second[[0, 2]].min() > 0.0
    assert [event.words for event in twin.hands.happened][-1] == "section 2 was switched off"


def test_a_rate_change_is_followed(tmp_path):
    record, _ = drive(tmp_path, START + "[[event]]\nat_s = 10\nrate_l_ha = 100\n")
    rate = np.diff(record.section_ml.sum(axis=1)) / np.diff(record["true_distance_m"]) / 3.5 * 10
    assert np.mean(rate[160:190]) == pytest.approx(80, rel=0.01)
    assert np.mean(rate[360:]) == pytest.approx(100, rel=0.01)


def test_what_is_never_reached_is_said(tmp_path):
    record, _ = drive(tmp_path, START + '[[event]]\nat_m = 999\nmaster = "off"\n')
    assert record.about["missed_events"] == ["the master was switched off"]


# What breaks.


def test_a_stuck_meter_is_a_fault_that_stops_the_flow(tmp_path):
    record, _ = drive(tmp_path, START + "[[event]]\nat_s = 8\nmeter_stalled = true\n")
    figures = summarise(record)
    assert figures["faults"] == ["flow_missing"]
    assert state_at(record, 19.0) == FAULT
    assert np.ptp(record.section_ml[-100:], axis=0).max() == 0.0


def test_a_lost_speed_sensor_stops_the_flow(tmp_path):
    record, _ = drive(tmp_path, START + "[[event]]\nat_s = 8\nspeed_lost = true\n")
    assert state_at(record, 19.0) != APPLYING
    assert "speed_lost" in summarise(record)["warnings"]
    assert np.ptp(record.section_ml[-100:], axis=0).max() == 0.0


def test_a_hung_program_is_reset_and_stays_off_until_the_master_moves(tmp_path):
    record, _ = drive(tmp_path, START + "[[event]]\nat_s = 8\nprogram_stalled = true\n"
                      '[[event]]\nat_s = 14\nmaster = "off"\n[[event]]\nat_s = 15\nmaster = "on"\n')
    assert record.about["resets"] == ["watchdog"]
    assert record["duty_u16"][180:280].max() == 0
    assert np.ptp(record.section_ml[180:280], axis=0).max() == 0.0
    assert state_at(record, 17.0) == APPLYING


def test_worn_and_blocked_outlets_shift_the_sections_but_not_the_total(tmp_path):
    record, _ = drive(tmp_path, START + "[[event]]\nat_s = 0\nsection = 1\norifice_factor = 0.5\n",
                      speeds="0,2\n40,2\n")
    half = len(record) // 2
    applied = record.section_ml[-1] - record.section_ml[half]
    share = applied / applied.sum()
    assert share[0] < 0.25
    distance_m = record["true_distance_m"][-1] - record["true_distance_m"][half]
    assert applied.sum() / (distance_m * 3.5) * 10 == pytest.approx(80, rel=0.01)


def test_implement_switch_that_opens_when_down_is_driven_as_any_other(tmp_path):
    """The machine is wired as its file says; told otherwise, the controller does the opposite."""
    plain, _ = drive(tmp_path)
    scenario = short_scenario(tmp_path)
    scenario.settings.implement_open_is_down = 1
    twin = Twin(scenario)
    twin_record = twin.run()
    assert np.array_equal(twin_record["state"], plain["state"])
    assert np.array_equal(twin_record["duty_u16"], plain["duty_u16"])
    assert (plain["state"] == APPLYING).any()
    wrong = Twin(scenario)
    wrong.board.fittings.opening = 0
    record = wrong.run()
    lifted = record["time_s"] < 2
    assert (record["state"][lifted] == APPLYING).any(), "up reads as down"
    assert not (record["state"][~lifted] == APPLYING)[20:].any()
