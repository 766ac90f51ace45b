"""`report` of any run: a drive, a recording, one that breaks off; and of two beside each other."""

from __future__ import annotations

import json
import shutil
from copy import deepcopy
from pathlib import Path

import pytest

from app.link_frame import parse, record
from host_sim.__main__ import main
from host_sim.report import comparison
from host_sim.report.comparison import ComparedRun
from host_sim.report.words import remarks
from host_sim.runs.files import load_run, read_run
from host_sim.runs.record import read_csv
from host_sim.runs.recording_run import run_of
from host_sim.runs.summary import summarise
from tests.support.drives import MACHINE, START, scenario_file, short_scenario
from tests.support.page import Page
from tests.support.recorded_twin import record_twin

EVENTS = START + (
    '[[event]]\nat_s = 10\nimplement = "up"\n[[event]]\nat_s = 13\nimplement = "down"\n')


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A drive, a slower one on the same way, and a recording of the first; nobody changes them."""
    directory = tmp_path_factory.mktemp("made")
    scenario = scenario_file(directory, EVENTS)
    assert main(["drive", str(scenario), "--out", str(directory / "brisk")]) == 0
    slow = directory / "slow.toml"
    brisk = scenario.with_name(MACHINE).read_text()
    (directory / "slow.machine.toml").write_text(brisk.replace(
        'settling_time = "1.5 s"', 'settling_time = "6 s"'))
    slow.write_text(scenario.read_text().replace(MACHINE, "slow.machine.toml"))
    assert main(["drive", str(slow), "--out", str(directory / "slow")]) == 0
    record_twin(directory / "field.rec", short_scenario(directory, EVENTS))
    return directory


def report(run, *options) -> int:
    return main(["report", str(run), *map(str, options)])


def page_of(path: Path) -> Page:
    html = path.read_text()
    page = Page(html)
    assert page.open == []
    assert all(link.startswith(("#", "data:")) for link in page.links)
    assert "<script" not in html and len(html) < 2_000_000
    return page


# A recording of a board: only what the controller knew.


@pytest.fixture(scope="module")
def measured(made, tmp_path_factory) -> Page:
    out = tmp_path_factory.mktemp("measured") / "a.html"
    assert report(made / "field.rec", "--out", out) == 0
    return page_of(out)


def test_a_recording_says_that_nobody_knows_the_truth(made, measured):
    text = measured.text
    figures = summarise(run_of(made / "field.rec"))
    assert "field.rec: measured by the controller itself, not the truth" in text
    assert "All of this is what the controller measured itself." in text
    assert "A meter or a speed sensor that is off shifts everything alike" in text
    assert f"{figures['distance_within_5_pct']:.1f} % of the distance was within 5 %" in text
    for claim in ("in truth", "really put down", "true rate", "Truth", "true distance"):
        assert claim not in text


def test_a_recording_has_events_with_their_cause_calibration_and_versions(measured):
    text = measured.text
    assert "the implement was lifted" in text and "ready: implement is up" in text
    assert "450.00 pulses/L" in text and "1.50 s" in text
    assert "firmware 0." in text and "numpy" in text
    assert "a simulation" in text and "begun 2026-05-04 12:00 UTC" in text
    assert "In each interval of 0.10 s" in text


def test_a_real_board_is_named(made, tmp_path):
    """The same recording, as if a real board had answered."""
    lines = (made / "field.rec").read_bytes().split(b"\n")
    for index, line in enumerate(lines):
        if b'"hello"' in line:
            sequence, body = parse(line)
            hello = json.loads(body)
            hello["hello"]["board"] = "Rp2Board"
            lines[index] = record(sequence, json.dumps(hello).encode()).rstrip(b"\n")
    path = tmp_path / "real.rec"
    path.write_bytes(b"\n".join(lines))
    assert report(path) == 0
    text = page_of(tmp_path / "real.html").text
    assert "(Rp2Board, firmware" in text and "simulation" not in text


def test_the_report_of_a_recording_is_written_beside_it(made, tmp_path, capsys):
    path = Path(shutil.copy(made / "field.rec", tmp_path))
    assert report(path, "--units", "us") == 0
    assert capsys.readouterr().out == f"{tmp_path / 'field.html'}\n"
    assert "gal/ac" in page_of(tmp_path / "field.html").text
    assert path.read_bytes() == (made / "field.rec").read_bytes()


# A run that breaks off.


@pytest.mark.parametrize("share", [0.3, 0.6, 0.97])
def test_a_recording_that_breaks_off_gives_a_report_that_says_so(made, tmp_path, share):
    whole = (made / "field.rec").read_bytes()
    path = tmp_path / "cut.rec"
    path.write_bytes(whole[: int(share * len(whole))])
    assert report(path) == 0
    assert "The recording breaks off" in page_of(tmp_path / "cut.html").text


@pytest.mark.parametrize("share", [0.01, 0.3, 0.999])
def test_a_drive_that_breaks_off_gives_a_report_of_what_is_there(made, tmp_path, share):
    path = Path(shutil.copytree(made / "brisk", tmp_path / "cut"))
    whole = (path / "run.csv").read_bytes()
    (path / "run.csv").write_bytes(whole[: int(share * len(whole))])
    assert report(path) == 0
    record, figures = read_run(path)
    assert len(record) < 400
    assert f"The record breaks off: {len(record)} of 400 ticks" in page_of(
        path / "report.html").text
    assert figures["controller_volume_l"] == pytest.approx(figures["volume_l"], rel=0.05, abs=0.05)


def test_a_whole_run_has_nothing_to_remark(made):
    for name in ("brisk", "field.rec"):
        assert remarks(load_run(made / name)[0].about) == []


def test_what_a_reader_must_know_first():
    about = {"cut_off": "Cut.", "gaps_s": [3.0, 12.5], "damaged_lines": 2,
             "missed_events": ["a lift"], "resets": ["watchdog"]}
    assert remarks(about) == [
        "Cut.",
        "The line was lost and came back 2 times: 3, 12.5 s are missing.",
        "Damaged lines of the recording that were left out: 2.",
        "Never done, because the drive ended before: a lift.",
        "The board was reset once: watchdog.",
    ]
    assert remarks({"gaps_s": [1.0] * 20})[0].endswith("1, 1, ... s are missing.")


# For programs.


def test_csv_and_json_are_the_same_run(made, tmp_path):
    assert report(made / "field.rec", "--out", tmp_path / "a.html", "--csv", tmp_path / "a.csv",
                  "--json", tmp_path / "a.json") == 0
    figures = json.loads((tmp_path / "a.json").read_text())
    assert figures["about"]["measured"] is True
    columns = read_csv(tmp_path / "a.csv")
    assert len(columns["time_s"]) == figures["ticks"]
    assert columns["true_distance_m"][-1] == pytest.approx(figures["travelled_m"], rel=1e-5)


@pytest.mark.parametrize(("options", "says"), [
    (("--out", "field.rec"), "field.rec: is what the command reads"),
    (("--csv", "brisk/run.csv", "--against", "brisk"), "run.csv: is part of a run"),
    (("--csv", "a", "--json", "a"), "a: is part of a run, or is to be written twice"),
    (("--out", "field.rec/a.html"), "field.rec: is in the way"),
    (("--against", "nothing"), "nothing: cannot be read"),
    (("--against", "empty"), "empty/summary.json: cannot be read"),
])
def test_what_would_do_harm_is_refused_and_nothing_is_written(
    options, says, made, tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    Path("empty").mkdir()
    before = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    assert report("field.rec", *options) == 2
    printed = capsys.readouterr()
    assert says in printed.err and len(printed.err.splitlines()) == 1 and printed.out == ""
    after = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    assert after == before


# Two runs beside each other.


@pytest.fixture(scope="module")
def runs(made):
    return [ComparedRun(name, *load_run(made / name)) for name in ("slow", "brisk")]


@pytest.fixture(scope="module")
def compared(made, tmp_path_factory) -> Page:
    out = tmp_path_factory.mktemp("compared")
    assert report(made / "slow", "--against", made / "brisk", "--out", out / "a.html",
                  "--json", out / "a.json") == 0
    kept = json.loads((out / "a.json").read_text())
    assert kept["against"]["name"] == "brisk"
    assert kept["against"]["about"]["settings"]["settling_time_ms"] == 1500
    return page_of(out / "a.html")


def test_the_page_shows_both(compared, runs):
    text = compared.text
    assert "Against brisk" in text
    slow, brisk = (run.figures for run in runs)
    assert (f"This run kept {slow['distance_within_5_pct']:.1f} % of its distance within 5 % of "
            f"the rate wanted, brisk {brisk['distance_within_5_pct']:.1f} %") in text
    assert (f"rms rate error {slow['rate_error_rms_pct']:.2f} % "
            f"{brisk['rate_error_rms_pct']:.2f} %") in text
    assert "settings.settling_time 6.00 s 1.50 s" in text
    assert "What else differs" not in text


def test_only_what_differs_is_listed(runs):
    assert [row[:3] for row in comparison.setting_rows(*runs, us=False)] == [
        ("settings.settling_time", "6.00 s", "1.50 s")]
    assert comparison.setting_rows(runs[0], runs[0], us=False) == []
    assert comparison.fact_rows(*runs) == []


def test_other_machines_and_traces_are_named(runs):
    other = ComparedRun("other", *load_copy(runs[1]))
    other.record.about["machine"]["pump"] = {"rated": 2.0}
    other.record.about["speed_trace"]["name"] = "elsewhere.csv"
    rows = {name: (ours, theirs) for name, ours, theirs in comparison.fact_rows(runs[0], other)}
    assert rows["speed"] == ("trace.csv", "elsewhere.csv")
    assert rows["machine: pump.rated"] == ("none", "2.0")


def load_copy(run):
    return deepcopy(run.record), deepcopy(run.figures)


def test_an_unfair_comparison_is_called_one(made, runs):
    measured = ComparedRun("field.rec", *load_run(made / "field.rec"))
    assert any("cannot be compared fairly" in words
               for words in comparison.verdict(runs[0], measured))
    assert any("what controllers measured themselves" in words
               for words in comparison.verdict(measured, measured))
    twice = ComparedRun("twice", *load_copy(runs[0]))
    twice.figures["target_l_ha"] *= 2
    assert any("Their rates wanted differ" in words
               for words in comparison.verdict(runs[0], twice))
    assert len(comparison.verdict(*runs)) == 1


def test_a_run_that_never_applied_can_be_compared(made, tmp_path):
    never = scenario_file(tmp_path, "", speeds="0,0\n5,0\n")
    assert main(["drive", str(never), "--out", str(tmp_path / "never")]) == 0
    pair = (tmp_path / "never", made / "brisk")
    for first, second in (pair, pair[::-1]):
        assert report(first, "--against", second, "--out", tmp_path / "a.html") == 0
        assert "Against" in page_of(tmp_path / "a.html").text
