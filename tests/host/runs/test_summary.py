"""The judge of a run, on records whose answer is known beforehand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim import REPO_ROOT
from host_sim.report.table import short_table
from host_sim.report.words import Teller
from host_sim.runs.stretches import worst_stretches
from host_sim.runs.summary import summarise
from host_sim.runs.truth import ground_cells, true_run
from rate_control.interlock import APPLYING, READY
from tests.support.drives import TICK_S, made_up_record, wanted_flow_ml_s

STEADY = np.full(400, 2.0)  # 20 s at 2 m/s: 40 m


def test_boom_of_a_published_worked_example():
    """24 L/min from a 12 m boom at 200 m/min (12 km/h) is 100 L/ha.

    Source: chemical-accreditation course page,
    https://www.countryco.com.au/general-information/useful-tools
    """
    speed = np.full(600, 200 / 60)
    record = made_up_record(speed, np.full(600, 24_000 / 60), 100_000, (12.0,))
    figures = summarise(record)
    assert figures["mean_rate_l_ha"] == pytest.approx(100.0, rel=1e-12)
    assert figures["rate_error_rms_pct"] == pytest.approx(0.0, abs=1e-9)
    assert figures["distance_within_5_pct"] == 100.0
    assert figures["area_ha"] == pytest.approx(100 * 12 / 1e4)
    assert figures["volume_l"] == pytest.approx(12.0)


@given(
    st.floats(0.3, 20), st.floats(0.2, 50), st.floats(1, 5000), st.floats(-0.9, 2.0),
    st.integers(2, 50),
)
def test_a_steady_error_is_found_whatever_the_work(speed_m_s, width_m, l_ha, off, ticks):
    speed = np.full(ticks, speed_m_s)
    flow = wanted_flow_ml_s(l_ha, speed, width_m) * (1 + off)
    figures = summarise(made_up_record(speed, flow, l_ha * 1000, (width_m,)))
    assert figures["rate_error_rms_pct"] == pytest.approx(abs(100 * off), rel=1e-6, abs=1e-6)
    assert figures["rate_error_mean_pct"] == pytest.approx(100 * off, rel=1e-6, abs=1e-6)
    assert figures["mean_rate_l_ha"] == pytest.approx(l_ha * (1 + off), rel=1e-6)


def test_errors_are_weighted_with_distance_not_with_time():
    """A quarter of the time at three times the speed is half of the distance."""
    speed = np.concatenate([np.full(300, 1.0), np.full(100, 3.0)])
    flow = wanted_flow_ml_s(100, speed, 2.0) * np.where(speed > 2, 1.08, 1.0)
    figures = summarise(made_up_record(speed, flow))
    assert figures["distance_within_5_pct"] == pytest.approx(50.0)
    assert figures["distance_within_10_pct"] == pytest.approx(100.0)
    assert figures["rate_error_rms_pct"] == pytest.approx(8 / math.sqrt(2))
    assert figures["rate_error_mean_pct"] == pytest.approx(4.0)
    assert figures["rate_error_p95_pct"] == pytest.approx(8.0)


@pytest.mark.parametrize("delay_s", [0.1, 0.2, 0.5])
def test_a_late_flow_on_a_speed_ramp_has_the_error_of_the_closed_form(delay_s):
    """Speed v = v0 + a t, flow right but L late: the error is -a L / v.

    Weighted with distance, rms^2 = integral (a L / v)^2 v dt / integral v dt
    = 2 (a L)^2 ln(v1 / v0) / (v1^2 - v0^2), by elementary integration.
    """
    v0, v1, slope = 2.0, 4.0, 0.25
    time_s = np.arange(0, (v1 - v0) / slope, TICK_S) + TICK_S / 2
    speed = v0 + slope * time_s
    record = made_up_record(speed, wanted_flow_ml_s(100, speed - slope * delay_s, 2.0))
    exact = slope * delay_s * math.sqrt(2 * math.log(v1 / v0) / (v1**2 - v0**2))
    assert summarise(record)["rate_error_rms_pct"] == pytest.approx(100 * exact, rel=1e-4)


def test_only_ground_with_a_permit_counts_and_all_of_it():
    state = np.full(401, float(APPLYING))
    state[:100] = READY
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[:100] = 0.0
    flow[100:110] = 0.0  # the pump is late: in
    record = made_up_record(STEADY, flow, state=state)
    figures = summarise(record)
    assert figures["distance_m"] == pytest.approx(30.0)
    assert figures["travelled_m"] == pytest.approx(40.0)
    assert figures["area_ha"] == pytest.approx(30 * 2 / 1e4)
    assert figures["distance_within_5_pct"] == pytest.approx(100 * 290 / 300)
    assert figures["rate_error_rms_pct"] == pytest.approx(100 * math.sqrt(10 / 300))


def test_a_section_off_by_hand_takes_no_area_and_no_rate():
    switches = np.full(401, 0b1111)
    switches[201:] = 0b0111  # section 2 off for the second half
    per_m = wanted_flow_ml_s(100, STEADY, 1.0)
    flows = np.column_stack([per_m * 2, per_m * 3])
    flows[200:, 1] = 0.0
    record = made_up_record(STEADY, flows, width_m=(2.0, 3.0), hand_switches=switches)
    figures = summarise(record)
    assert figures["rate_error_rms_pct"] == pytest.approx(0.0, abs=1e-9)
    assert figures["area_ha"] == pytest.approx((20 * 5 + 20 * 2) / 1e4)
    rows = figures["sections"]
    assert [row["area_ha"] for row in rows] == pytest.approx([40 * 2 / 1e4, 20 * 3 / 1e4])
    assert [row["mean_rate_l_ha"] for row in rows] == pytest.approx([100.0, 100.0])


def test_a_change_of_rate_is_judged_by_the_rate_in_force():
    wanted = np.where(np.arange(400) < 200, 80_000.0, 100_000.0)
    flow = wanted_flow_ml_s(wanted / 1000, STEADY, 2.0)
    figures = summarise(made_up_record(STEADY, flow, wanted))
    assert figures["rate_error_rms_pct"] == pytest.approx(0.0, abs=1e-9)
    assert figures["target_l_ha"] == pytest.approx(90.0)


def test_a_run_that_never_applied_has_no_rate():
    record = made_up_record(STEADY, STEADY * 0, state=np.full(401, float(READY)))
    figures = summarise(record)
    assert figures["distance_m"] == 0.0
    assert figures["rate_error_rms_pct"] is None
    assert figures["target_l_ha"] is None
    assert figures["worst_stretches"] == []


# Cells of ground.


def test_ground_cells_hold_what_fell_on_them():
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[200:210] *= 1.5  # from 20 to 21 m
    cells = ground_cells(true_run(made_up_record(STEADY, flow), [2.0]))
    assert cells.shape == (40, 1)
    assert cells[20, 0] == pytest.approx(1.5)
    assert np.delete(cells[:, 0], 20) == pytest.approx(1.0)


def test_ground_that_nobody_asked_for_is_blank():
    switches = np.full(401, 0b111)
    switches[101:201] = 0b101  # implement up from 10 to 20 m
    record = made_up_record(STEADY, wanted_flow_ml_s(100, STEADY, 2.0), hand_switches=switches)
    blank = np.isnan(ground_cells(true_run(record, [2.0]))[:, 0])
    assert blank.tolist() == [10 <= metre < 20 for metre in range(40)]


# By the metre of each section, where the plant stands.


def test_a_start_that_is_missed_counts_from_the_moment_the_implement_is_down():
    """0.75 s at 2 m/s without a permit: 1.5 of 40 m get nothing, the half metre counts half.

    Metre 1 gets what is right on its second half: 50 % of it is missing. So 38 of 40 m are
    within 5 %, and the mean square is (1 + 0.5^2) / 40.
    """
    state = np.full(401, float(APPLYING))
    state[:15] = READY
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[:15] = 0.0
    figures = summarise(made_up_record(STEADY, flow, state=state))
    assert figures["distance_within_5_pct"] == 100.0
    assert figures["metre_within_5_pct"] == pytest.approx(100 * 38 / 40)
    assert figures["metre_rms_pct"] == pytest.approx(100 * math.sqrt(1.25 / 40))


def test_a_metre_counts_with_the_part_on_which_something_was_wanted():
    """The implement comes down at 0.8 m and nothing flows up to 1 m: 0.2 of 39.2 m are off."""
    switches = np.full(401, 0b111)
    switches[:9] = 0b101
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[:10] = 0.0
    figures = summarise(made_up_record(STEADY, flow, hand_switches=switches))
    assert figures["metre_within_5_pct"] == pytest.approx(100 * 39 / 39.2)
    assert figures["metre_rms_pct"] == pytest.approx(100 * math.sqrt(0.2 / 39.2))


def test_errors_within_a_metre_make_up_for_each_other_and_those_of_sections_do_not():
    """Section 1 swings by 20 % within each metre; section 2, twice as wide, is 4 % below."""
    swing = np.where(np.arange(400) % 10 < 5, 1.2, 0.8)
    per_m = wanted_flow_ml_s(100, STEADY, 1.0)
    flows = np.column_stack([per_m * swing, per_m * 2 * 0.96])
    figures = summarise(made_up_record(STEADY, flows, width_m=(1.0, 2.0)))
    assert [row["rms_pct"] for row in figures["sections"]] == pytest.approx([0.0, 4.0], abs=1e-9)
    assert figures["metre_rms_pct"] == pytest.approx(4.0 * math.sqrt(2 / 3))
    assert figures["metre_within_5_pct"] == 100.0


@pytest.fixture
def plugged():
    """Section 1, a third of the bar, gets nothing, and the others its part: the sum is right."""
    per_m = wanted_flow_ml_s(100, STEADY, 1.0)
    flows = np.column_stack([per_m * 0, per_m * 1.5, per_m * 1.5])
    return summarise(made_up_record(STEADY, flows, width_m=(1.0, 1.0, 1.0)))


def test_a_plugged_section_is_seen_by_the_metre_only(plugged):
    assert plugged["distance_within_5_pct"] == 100.0
    assert plugged["rate_error_rms_pct"] == pytest.approx(0.0, abs=1e-9)
    assert plugged["metre_within_5_pct"] == 0.0
    assert plugged["metre_rms_pct"] == pytest.approx(100 * math.sqrt((1 + 0.25 + 0.25) / 3))
    assert [row["rms_pct"] for row in plugged["sections"]] == pytest.approx([100.0, 50.0, 50.0])
    assert [row["within_5_pct"] for row in plugged["sections"]] == [0.0, 0.0, 0.0]


def test_a_plugged_section_is_in_the_headline_words(plugged):
    tell = Teller(plugged, us=False)
    assert tell.failing_sections()[0] == (
        "Section 1 was within 5 % of the rate on only 0.0 % of its ground: it put down 0.0 L/ha on "
        "average.")
    assert "Section 1 fared worst: 0.0 % of its ground, 0.0 L/ha on average." in tell.by_metre()
    table = short_table(plugged | {"wall_seconds": 1.0}, us=False)
    assert "section 1    0.0 L/ha on average" in table


def test_a_recording_of_a_board_has_no_figures_by_metre_and_says_so(plugged):
    """The controller shares the flow out by width: by section that would be nothing but a guess."""
    record = made_up_record(STEADY, wanted_flow_ml_s(100, STEADY, 2.0))
    record.about["measured"] = True
    figures = summarise(record)
    assert figures["metre_within_5_pct"] is figures["metre_rms_pct"] is None
    assert figures["sections"][0]["within_5_pct"] is figures["sections"][0]["rms_pct"] is None
    assert "there are no figures by section" in Teller(figures, False, measured=True).by_metre()


# Stretches that were off.


def stretches_of(record, count=5):
    return worst_stretches(record, true_run(record, record.about["section_width_m"]), count)


def test_stretches_are_found_measured_and_ranked():
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[50:60] *= 1.1  # 1 m, 10 % of 20 mL too much
    flow[200:240] *= 0.8  # 4 m, 20 % of 80 mL too little
    first, second = stretches_of(made_up_record(STEADY, flow))
    assert (first.start_m, first.end_m) == pytest.approx((20.0, 24.0))
    assert (first.start_s, first.end_s) == pytest.approx((10.0, 12.0))
    assert (first.mean_pct, first.peak_pct) == pytest.approx((-20.0, -20.0))
    assert first.wrong_ml == pytest.approx(0.2 * 80.0)
    assert second.mean_pct == pytest.approx(10.0)
    assert second.wrong_ml == pytest.approx(0.1 * 20.0)
    assert first.cause == second.cause == "no cause found"


def test_stretches_close_together_are_one():
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[50:60] *= 1.1
    flow[70:80] *= 1.1  # 1 m on
    flow[150:160] *= 1.1  # 7 m on
    found = stretches_of(made_up_record(STEADY, flow))
    assert sorted((round(s.start_m, 6), round(s.end_m, 6)) for s in found) == [(5, 8), (15, 16)]


def test_a_stretch_ends_where_too_much_turns_into_too_little():
    flow = wanted_flow_ml_s(100, STEADY, 2.0)
    flow[50:60] *= 1.1
    flow[60:80] *= 0.9
    more, less = sorted(stretches_of(made_up_record(STEADY, flow)), key=lambda s: s.start_m)
    assert (more.mean_pct, less.mean_pct) == pytest.approx((10.0, -10.0))
    assert more.end_m == pytest.approx(less.start_m)


def test_a_stretch_knows_the_section_it_is_due_to():
    per_m = wanted_flow_ml_s(100, STEADY, 1.0)
    flows = np.column_stack([per_m * 2, per_m * 3])
    flows[100:120, 1] *= 0.5
    (stretch,) = stretches_of(made_up_record(STEADY, flows, width_m=(2.0, 3.0)))
    assert stretch.section == 2


def off_from_10_to_11_s(**kind):
    flow = wanted_flow_ml_s(100, kind.pop("speed", STEADY), 2.0)
    flow[200:220] *= 1.2
    return stretches_of(made_up_record(kind.pop("at", STEADY), flow, **kind))[0].cause


@pytest.mark.parametrize(
    ("kind", "cause"),
    [
        ({}, "no cause found"),
        ({"saturated": np.ones(401)}, "the pump was at its limit"),
        ({"coasting": np.ones(401)}, "the flow was below the meter floor"),
        ({"faults": np.ones(401)}, "fault: flow_missing"),
        ({"events": [{"time_s": 9.6, "words": "the implement came down", "note": "headland"}]},
         "0.4 s after the implement came down (headland)"),
        ({"events": [{"time_s": 5.0, "words": "too long ago", "note": ""}]}, "no cause found"),
        ({"events": [{"time_s": 11.0, "words": "too late", "note": ""}]}, "no cause found"),
    ],
)
def test_causes(kind, cause):
    assert off_from_10_to_11_s(**kind) == cause


def test_a_change_of_speed_is_a_cause():
    speed = STEADY.copy()
    speed[200:] = 1.5
    assert off_from_10_to_11_s(at=speed, speed=speed) == (
        "while the speed fell by 25 % within a second")


def test_every_figure_is_described():
    page = (REPO_ROOT / "docs/reference/run_files.md").read_text()
    figures = summarise(made_up_record(STEADY, wanted_flow_ml_s(100, STEADY, 2.0)))
    assert [name for name in figures
            if f"`{name}`" not in page and not name.startswith("rate_error_p")] == []
