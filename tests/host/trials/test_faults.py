"""Faults: what breaks is noticed, or the page says that it is not."""

from __future__ import annotations

import json

import pytest

from host_sim.__main__ import main
from host_sim.trials.faults import BREAK_S, END_S, FAULTS, FaultOutcome, cells, run_faults
from host_sim.twin.scenario import DEMO, load_scenario


@pytest.fixture(scope="module")
def outcomes() -> dict[str, FaultOutcome]:
    return {outcome.fault.name: outcome for outcome in run_faults(load_scenario(DEMO))}


@pytest.mark.parametrize(("fault", "shown"), [
    ("stuck_meter", "flow_missing"),
    ("dead_pump", "flow_missing"),
    ("strong_interference", "meter_noise"),
    ("silent_speed", "speed_lost"),
    ("flat_battery", "supply_low"),
    ("blocked_section", "off_curve"),
    ("valve_stays_open", "sections_differ"),
    ("implement_chatters", "switch_chatters"),
    ("section_chatters", "switch_chatters"),
])
def test_a_fault_is_named_within_seconds(
    outcomes: dict[str, FaultOutcome], fault: str, shown: str
) -> None:
    outcome = outcomes[fault]
    assert shown in outcome.shown
    assert outcome.after_s is not None
    assert outcome.after_s < 6.0


@pytest.mark.parametrize("fault", ["stuck_meter", "dead_pump", "silent_speed", "hung_program"])
def test_what_cannot_be_measured_or_moved_stops_the_outputs(
    outcomes: dict[str, FaultOutcome], fault: str
) -> None:
    assert outcomes[fault].state != "applying"


def test_slip_shows_only_beside_a_receiver(outcomes: dict[str, FaultOutcome]) -> None:
    for fault, shown in (("slip", ()), ("slip_witnessed", ("speed_differs",))):
        assert outcomes[fault].shown == shown
        assert outcomes[fault].whole_pct == pytest.approx(20.0, abs=1.0)


def test_a_stuck_meter_does_not_open_the_pump(outcomes: dict[str, FaultOutcome]) -> None:
    """The feed-forward goes on alone: less than half a second's worth of liquid is wrong."""
    a_second_ml = 100 * 2.5 * 3.5 / 10
    assert outcomes["stuck_meter"].wrong_ml < 0.5 * a_second_ml


def test_a_low_battery_is_made_good(outcomes: dict[str, FaultOutcome]) -> None:
    assert abs(outcomes["low_battery"].whole_pct) < 1.0


def test_worn_outlets_take_from_their_neighbours_unseen(outcomes: dict[str, FaultOutcome]) -> None:
    """Three of seven outlets give 20 % more at a pressure: 1.2 x 7 / (3 x 1.2 + 4) of their part.

    By the square-root law at a common pressure; section valves and hoses take off a little.
    """
    outcome = outcomes["worn_section"]
    assert not outcome.shown
    assert abs(outcome.whole_pct) < 1.0
    ideal_pct = 100 * (1.2 * 7 / (3 * 1.2 + 4) - 1)
    assert outcome.section_pct == pytest.approx(ideal_pct, abs=2.0)


def test_pulses_that_come_twice_or_not_shift_the_rate_as_the_arithmetic_says(
    outcomes: dict[str, FaultOutcome]
) -> None:
    """A speed counted 1.2-fold gives 1.2 of the rate, less where it is not believed. The loop would
    hold what it counts, 1 / 1.2 of the rate, but where pulses come twice it is told so in leaps,
    of which its trim takes a part; and a meter that falls short in leaps is doubted.
    """
    assert 0.0 < outcomes["losing_meter"].whole_pct < 6.0
    assert 12.0 < outcomes["bouncing_speed"].whole_pct < 20.5
    assert -17.0 < outcomes["bouncing_meter"].whole_pct < -5.0


@pytest.mark.parametrize("fault", ["uneasy_supply", "warming_liquid", "clogging_filter",
                                   "eccentric_wheel"])
def test_what_the_loop_makes_good_leaves_no_steady_error(
    outcomes: dict[str, FaultOutcome], fault: str
) -> None:
    assert abs(outcomes[fault].whole_pct) < 1.0


def test_a_line_that_leaks_down_costs_at_the_start_after_the_headland(
    outcomes: dict[str, FaultOutcome]
) -> None:
    for fault in ("leak_down", "valve_slow"):
        assert outcomes[fault].wrong_ml > outcomes["headland"].wrong_ml + 2.0


def test_verb(  # type: ignore[no-untyped-def]
    tmp_path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("host_sim.trials.faults.FAULTS", FAULTS[:3])
    assert main(["faults", "--json", str(tmp_path / "faults.json")]) == 0
    assert "sticks" in capsys.readouterr().out
    rows = json.loads((tmp_path / "faults.json").read_text())
    assert [row["fault"] for row in rows] == [fault.name for fault in FAULTS[:3]]
    assert all(row["after_s"] is None or 0 < row["after_s"] < END_S - BREAK_S for row in rows)


def test_the_table_is_in_the_units_that_are_asked_for():
    """29.5735 mL are a US fluid ounce: a gallon of 231 in3 has 128."""
    outcome = FaultOutcome(FAULTS[0], ("rate_off",), 1.0, "fault", 1.0, 2.0, 295.735)
    assert cells(outcome)[-1] == "296 mL"
    assert cells(outcome, us=True)[-1] == "10.0 fl oz"
