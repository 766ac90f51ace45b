"""Passes on records whose answer is known beforehand, and the tables that come of them."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest

from host_sim.__main__ import main
from host_sim.common.data_package import DESCRIPTOR
from host_sim.report.words import Teller, percent
from host_sim.runs.measured import as_measured
from host_sim.runs.recorder import TRUTH
from host_sim.runs.summary import summarise
from host_sim.runs.tables import PASS_FILES, run_table
from rate_control import trace
from rate_control.interlock import APPLYING, READY
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER
from tests.support.drives import TICK_S, made_up_record, scenario_file, wanted_flow_ml_s

# Seconds of a drive with two passes: where the implement is down, and its speed of 2 m/s.
TIME_S = np.arange(0, 40, TICK_S)
DOWN = ((TIME_S >= 4) & (TIME_S < 14)) | ((TIME_S >= 20) & (TIME_S < 35))
SPEED = np.full(len(TIME_S), 2.0)
WIDTHS = (1.0, 2.0)


def record(flow_factor=1.0, late_s=0.0, **columns):
    """100 L/ha on the two passes, times a factor, the flow `late_s` after the implement."""
    lag = round(late_s / TICK_S)
    flowing = np.roll(DOWN, lag).astype(float)
    flows = np.column_stack([wanted_flow_ml_s(100, SPEED, width) * flowing * flow_factor
                             for width in WIDTHS])
    down = np.append(False, DOWN)  # a tick sees them at the end of an interval
    made = made_up_record(SPEED, flows, 100_000, WIDTHS,
                          state=np.append(np.where(DOWN, APPLYING, READY), READY), **columns)
    switches = made["hand_switches"].astype(int)
    made.columns["hand_switches"] = np.where(
        down, switches, switches & ~SWITCH_IMPLEMENT).astype(float)
    return made


def test_a_run_is_cut_at_the_lifts():
    first, second = summarise(record())["passes"]
    assert (first["pass"], second["pass"]) == (1, 2)
    assert first["start_s"] == pytest.approx(4.0)
    assert first["time_s"] == pytest.approx(10.0)
    assert first["start_m"] == pytest.approx(8.0)
    assert first["length_m"] == pytest.approx(20.0)
    assert second["length_m"] == pytest.approx(30.0)
    assert first["area_ha"] == pytest.approx(20 * 3 / 1e4)
    assert first["volume_l"] == pytest.approx(0.6)
    assert first["mean_rate_l_ha"] == pytest.approx(100.0)
    assert first["error_pct"] == pytest.approx(0.0, abs=1e-9)
    assert first["cv_pct"] == pytest.approx(0.0, abs=1e-6)
    assert [part["volume_l"] for part in first["sections"]] == pytest.approx([0.2, 0.4])


def test_passes_add_up_with_the_run():
    figures = summarise(record())
    for name in ("area_ha", "volume_l"):
        assert sum(one[name] for one in figures["passes"]) == pytest.approx(figures[name])


@pytest.mark.parametrize("late_s", [0.1, 0.3])
def test_a_late_flow_is_missing_at_the_start_and_too_much_at_the_end(late_s):
    """Late by t at v: v t of the pass gets nothing, and v t beyond it gets what it should not."""
    for one in summarise(record(late_s=late_s))["passes"]:
        assert one["start_error_m"] == pytest.approx(-2.0 * late_s)
        assert one["end_error_m"] == pytest.approx(2.0 * late_s)
        litres = 100 * 2.0 * late_s * sum(WIDTHS) / 1e4
        assert one["after_lift_l"] == pytest.approx(litres)
        assert one["error_pct"] == pytest.approx(-100 * 2.0 * late_s / one["length_m"])


def test_what_was_only_metered_after_the_lift_is_no_liquid_at_the_end():
    """A meter counts what fills the line for the next pass as well: the end is that of the way."""
    made = record(late_s=0.3)
    made.about["measured"] = True
    for one in summarise(made)["passes"]:
        assert one["end_error_m"] == pytest.approx(0.0, abs=1e-9)
        assert one["after_lift_l"] > 0


def test_what_was_metered_behind_shut_sections_is_no_liquid_at_the_end():
    """Sections shut 0.4 s before the lift, at the end of what was wanted; the meter counts on."""
    early = round(0.4 / TICK_S)
    is_open = np.append(DOWN & np.roll(DOWN, -early), False)
    made = record(section_mask=np.where(is_open, 3.0, 0.0), width_mm=np.full(len(DOWN) + 1, 3000.0))
    made.columns["wanted_ml_ha"] = np.where(np.append(False, is_open[:-1]), 100_000.0, 0.0)
    true = summarise(made)["passes"]
    made.about["measured"] = True
    for one, seen in zip(true, summarise(made)["passes"], strict=True):
        assert one["end_error_m"] == pytest.approx(2.0 * 2.0 / 1.2 - 2.0)  # 2 m for 1.2 m wanted
        assert seen["end_error_m"] == pytest.approx(0.0, abs=1e-9)
        assert seen["volume_l"] == pytest.approx(one["volume_l"])


def test_the_variation_is_the_coefficient_of_the_published_formula():
    """CV = 100 s / mean with n - 1 (ISO 5682-3:1996, clause 6), from metre to metre."""
    metre = np.clip((2.0 * (TIME_S - 4)).astype(int), 0, 19)
    draws = 1 + np.random.default_rng(3).normal(0, 0.05, 20)
    first = summarise(record(draws[metre][:]))["passes"][0]
    assert first["cv_pct"] == pytest.approx(100 * draws.std(ddof=1) / draws.mean(), rel=1e-6)


def test_a_pass_without_permit_or_master_is_none():
    made = record()
    made.columns["state"][:] = READY
    assert summarise(made)["passes"] == []
    made = record()
    switches = made["hand_switches"].astype(int)
    late = np.append(0.0, TIME_S) < 7
    off = np.where(late, switches & ~SWITCH_MASTER, switches)
    made.columns["hand_switches"] = off.astype(float)
    assert summarise(made)["passes"][0]["length_m"] == pytest.approx(14.0)


def test_a_section_that_is_switched_off_midway_has_its_own_way():
    made = record()
    switches = made["hand_switches"].astype(int)
    made.columns["hand_switches"] = np.where(
        np.append(0.0, TIME_S) >= 8.99, switches & ~8, switches).astype(float)
    first = summarise(made)["passes"][0]
    assert first["area_ha"] == pytest.approx((20 * 1 + 10 * 2) / 1e4)
    assert first["sections"][1]["area_ha"] == pytest.approx(10 * 2 / 1e4)
    assert first["sections"][1]["cv_pct"] == pytest.approx(0.0, abs=1e-6)


def test_nothing_is_divided_by_nothing():
    made = record()
    made.columns["wanted_ml_ha"][:] = 0.0
    first = summarise(made)["passes"][0]
    assert first["error_pct"] is None and first["start_error_m"] is None
    assert first["cv_pct"] is None
    assert Teller({}, False).edge(None) == percent(None) == "none"


@pytest.fixture(scope="module")
def driven(tmp_path_factory):
    """The folder of a drive with two passes."""
    place = tmp_path_factory.mktemp("passes")
    lifts = "".join(f'[[event]]\nat_s = {at}\nimplement = "{level}"\n'
                    for at, level in ((2, "down"), (9, "up"), (12, "down"), (18, "up")))
    scenario = scenario_file(place, '[[event]]\nat_s = 1\nmaster = "on"\n' + lifts)
    assert main(["drive", str(scenario), "--out", str(place / "out")]) == 0
    return place / "out"


def test_the_tables_say_what_the_summary_says(driven):
    summary = json.loads((driven / "summary.json").read_text())
    rows = list(csv.DictReader(io.StringIO((driven / "passes.csv").read_text())))
    assert len(rows) == len(summary["passes"]) == 2
    for row, one in zip(rows, summary["passes"], strict=True):
        for name, cell in row.items():
            assert float(cell) == pytest.approx(one[name], rel=1e-6), name
    parts = list(csv.DictReader(io.StringIO((driven / "pass_sections.csv").read_text())))
    assert [(row["pass"], row["section"]) for row in parts] == [
        (str(one), str(part)) for one in (1, 2) for part in (1, 2, 3)]


def test_the_descriptor_is_valid_by_the_validator_of_the_standard(driven):
    """frictionless is the reference implementation of Data Package and Table Schema."""
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.validate(str(driven / DESCRIPTOR))
    assert report.valid, report.flatten(["type", "note"])
    assert {task.name for task in report.tasks} == {"run", "passes", "pass-sections"}


@pytest.mark.parametrize(("name", "before", "after", "kind"), [
    ("pass_sections.csv", "\n1,2,", "\n1,1,", "primary-key"),
    ("pass_sections.csv", "\n2,3,", "\n9,3,", "foreign-key"),
    ("passes.csv", "\n2,", "\nx,", "type-error"),
])
def test_the_validator_sees_a_table_that_does_not_fit(driven, tmp_path, name, before, after, kind):
    frictionless = pytest.importorskip("frictionless")
    for part in PASS_FILES:
        (tmp_path / part).write_bytes((driven / part).read_bytes())
    package = json.loads((tmp_path / DESCRIPTOR).read_text())
    package["resources"] = [one for one in package["resources"] if one["name"] != "run"]
    (tmp_path / DESCRIPTOR).write_text(json.dumps(package))
    table = tmp_path / name
    table.write_text(table.read_text().replace(before, after))
    report = frictionless.validate(str(tmp_path / DESCRIPTOR))
    assert kind in {error for [error] in report.flatten(["type"])}


def test_every_column_of_the_record_is_described():
    columns = run_table(2).columns
    assert [column.name for column in columns] == [
        *(name for name, _ in TRUTH), "true_section_1_ml", "true_section_2_ml", *trace.FIELDS]


def test_a_report_of_any_run_gives_the_tables(driven, tmp_path):
    out = tmp_path / "tables"
    assert main(["report", str(driven), "--out", str(tmp_path / "r.html"),
                 "--passes", str(out)]) == 0
    assert sorted(path.name for path in out.iterdir()) == sorted(PASS_FILES)
    assert numbers(out / "passes.csv") == pytest.approx(numbers(driven / "passes.csv"), rel=1e-5)
    assert "Passes by section" in (tmp_path / "r.html").read_text()


def numbers(path):
    """All cells below the header."""
    return [float(cell) for row in path.read_text().splitlines()[1:] for cell in row.split(",")]


def test_the_tables_cannot_be_written_over_a_run(driven, capsys):
    assert main(["report", str(driven), "--passes", str(driven), "--csv",
                 str(driven / "passes.csv")]) == 2
    assert "is to be written twice" in capsys.readouterr().err


def test_what_the_controller_measured_has_the_same_passes():
    made = record()
    made.columns["distance_mm"] = np.append(0.0, SPEED * TICK_S * 1000)
    made.columns["speed_mm_s"] = np.full(len(SPEED) + 1, 2000.0)
    flow = np.append(0.0, wanted_flow_ml_s(100, SPEED, 3.0) * DOWN)
    made.columns["volume_ul"] = flow * TICK_S * 1000
    made.columns["flow_ul_s"] = flow * 1000
    made.columns["switches"] = made["hand_switches"]
    down = np.append(False, DOWN)
    made.columns["section_mask"] = np.where(down, 3.0, 0.0)
    made.columns["width_mm"] = np.where(down, 3000.0, 0.0)
    for one, true in zip(summarise(as_measured(made))["passes"], summarise(made)["passes"],
                         strict=True):
        assert one["volume_l"] == pytest.approx(true["volume_l"])
        assert one["length_m"] == pytest.approx(true["length_m"])
        assert one["mean_rate_l_ha"] == pytest.approx(100.0)
