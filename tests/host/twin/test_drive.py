"""`drive` and `report` on the command line: what they leave, and what they refuse."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import host_sim
from host_sim.__main__ import main
from host_sim.common import output
from host_sim.common.errors import InputError
from host_sim.common.output import write_files
from host_sim.runs.files import read_run
from host_sim.runs.record import read_csv
from tests.support.drives import START, scenario_file
from tests.vm.recorded_inputs import RecordedInputs

# What checks of a whole run rely on: extended at will, never renamed.
PROMISED = (
    "distance_m", "area_ha", "volume_l", "target_l_ha", "mean_rate_l_ha", "rate_error_rms_pct",
    "distance_within_5_pct", "distance_within_10_pct", "controller_volume_l",
    "controller_area_ha", "ticks", "sim_seconds", "wall_seconds", "faults", "metre_within_5_pct",
    "metre_rms_pct",
)


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return scenario_file(tmp_path_factory.mktemp("scenario"), START)


@pytest.fixture(scope="module")
def finished(scenario: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The directory of a drive that nobody changes."""
    out = tmp_path_factory.mktemp("finished") / "out"
    assert drive(scenario, out) == 0
    return out


@pytest.fixture
def out(finished: Path, tmp_path: Path) -> Path:
    """A copy of it to spoil."""
    return Path(shutil.copytree(finished, tmp_path / "out"))


def drive(scenario: Path, out: Path, *options: str) -> int:
    return main(["drive", str(scenario), "--out", str(out), *options])


def test_a_drive_leaves_report_record_and_summary(scenario, tmp_path, capsys):
    out = tmp_path / "new" / "dir"
    assert drive(scenario, out) == 0
    assert sorted(path.name for path in out.iterdir()) == [
        "datapackage.json", "pass_sections.csv", "passes.csv", "report.html", "run.csv",
        "summary.json"]
    summary = json.loads((out / "summary.json").read_text())
    assert [name for name in PROMISED if name not in summary] == []
    assert summary["ticks"] == 400
    assert summary["sim_seconds"] == 20.0
    assert summary["faults"] == []
    assert all({"within_5_pct", "rms_pct"} <= set(section) for section in summary["sections"])
    printed = capsys.readouterr()
    assert "80.0 L/ha" in printed.out and str(out / "report.html") in printed.out
    assert printed.err == ""


def test_units_of_the_table(scenario, tmp_path, capsys):
    assert drive(scenario, tmp_path / "out", "--units", "us") == 0
    assert "gal/ac" in capsys.readouterr().out


def test_the_same_seed_gives_the_same_record(scenario, finished, tmp_path):
    """A scenario that names no seed is driven with seed 1."""
    for seed in ("1", "6"):
        assert drive(scenario, tmp_path / seed, "--seed", seed) == 0
    texts = [(path / "run.csv").read_bytes() for path in (finished, tmp_path / "1", tmp_path / "6")]
    assert texts[0] == texts[1] != texts[2]


def test_another_speed_trace(scenario, tmp_path):
    trace = tmp_path / "other.csv"
    trace.write_text("time_s,speed_km_h\n0,7\n12,7\n")
    assert drive(scenario, tmp_path / "out", "--speed-trace", str(trace)) == 0
    summary = json.loads((tmp_path / "out/summary.json").read_text())
    assert summary["sim_seconds"] == 12.0
    assert summary["about"]["speed_trace"]["name"] == "other.csv"


def test_recorded_inputs_read_back(scenario, tmp_path):
    path = tmp_path / "inputs" / "run.bin"
    assert drive(scenario, tmp_path / "out", "--record-inputs", str(path)) == 0
    reader = RecordedInputs(str(path))
    ticks = 0
    while reader.next_tick():
        ticks += 1
    reader.close()
    assert ticks == 400
    assert reader.settings["rate_ml_ha"] == 80_000


def test_a_report_is_made_anew_from_the_record(out, tmp_path, capsys):
    again = tmp_path / "again" / "a.html"
    assert main(["report", str(out), "--out", str(again)]) == 0
    assert capsys.readouterr().out == f"{again}\n"
    first = (out / "report.html").read_text().partition("<svg")[0]
    assert again.read_text().partition("<svg")[0] == first
    assert main(["report", str(out), "--units", "us"]) == 0
    assert "gal/ac" in (out / "report.html").read_text()


def test_the_record_keeps_the_figures(finished):
    kept = json.loads((finished / "summary.json").read_text())
    _, anew = read_run(finished)
    for name in PROMISED:
        assert anew[name] == pytest.approx(kept[name], rel=1e-4)


# Bad input: one line for each problem, exit status 2, nothing written.


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["none.toml"], "none.toml: cannot be read"),
        (["--speed-trace", "none.csv"], "none.csv: cannot be read"),
        (["--speed-trace", "bad.csv"], "bad.csv:3: time_s: time runs backwards"),
        (["--out", "file/deeper"], "file: is in the way: not a directory"),
        (["--record-inputs", "file/deeper"], "file: is in the way: not a directory"),
        (["--seed", "x"], "argument --seed: invalid"),
        (["--seed", "-1"], "argument --seed: must be 0 to"),
        (["--units", "imperial"], "argument --units: invalid choice"),
        (["bad.toml"], "bad.toml:1: machine: is missing"),
    ],
)
def test_bad_input_is_refused_and_nothing_is_written(
    options, says, tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.csv").write_text("time_s,speed_m_s\n5,1\n4,1\n")
    (tmp_path / "bad.toml").write_text("[drive]\n")
    (tmp_path / "file").write_text("")
    before = sorted(tmp_path.rglob("*"))
    try:
        status = main(["drive", *options])
    except SystemExit as stop:
        status = stop.code
    assert status == 2
    printed = capsys.readouterr()
    assert says in printed.err
    assert printed.out == ""
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("summary.json", None, "summary.json: cannot be read"),
        ("summary.json", "{", "summary.json:1: "),
        ("summary.json", "[]", "summary.json: about: is missing"),
        ("run.csv", None, "run.csv: cannot be read"),
        ("run.csv", "a,b\n", "run.csv:1: is no record of a run: column time_s is missing"),
    ],
)
def test_a_damaged_run_is_refused(name, text, says, out, capsys):
    (out / "report.html").unlink()
    (out / name).unlink() if text is None else (out / name).write_text(text)
    assert main(["report", str(out)]) == 2
    assert says in capsys.readouterr().err
    assert not (out / "report.html").exists()


def test_the_bad_line_of_a_record_is_named(out):
    path = out / "run.csv"
    lines = path.read_text().splitlines()
    for bad, says in ((lines[4].replace(",", ",x", 1), ":5: true_distance_m: not a number"),
                      (lines[4] + ",1", ":5: has")):
        path.write_text("\n".join([*lines[:4], bad, *lines[5:]]))
        with pytest.raises(InputError, match=says):
            read_csv(path)
    path.write_text(lines[0] + "\n")
    with pytest.raises(InputError, match="holds no tick"):
        read_csv(path)


def test_a_record_reads_back_as_it_was_written(finished):
    columns = read_csv(finished / "run.csv")
    assert len(columns["time_s"]) == 400
    assert np.diff(columns["time_s"]) == pytest.approx(0.05)
    assert (np.diff(columns["true_section_2_ml"]) >= 0).all()


def test_a_failed_write_leaves_what_was_there(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("old")
    (tmp_path / "b.txt.part").write_text("somebody else's")
    made = output.new_part

    def full(path):
        if path.name == "b.txt":
            raise OSError(28, "No space left on device", str(path))
        return made(path)

    monkeypatch.setattr(output, "new_part", full)
    with pytest.raises(InputError, match="cannot be written"):
        write_files(tmp_path, {"a.txt": "new", "b.txt": "new"})
    assert (tmp_path / "a.txt").read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "b.txt.part"]


def test_a_link_and_the_mode_of_a_file_stay(tmp_path):
    """A machine file that is a link into another folder is calibrated there, not cut off."""
    (tmp_path / "real").mkdir()
    real = tmp_path / "real" / "bar.toml"
    real.write_text("old")
    real.chmod(0o640)
    (tmp_path / "bar.toml").symlink_to(real)
    write_files(tmp_path, {"bar.toml": "new"})
    assert (tmp_path / "bar.toml").is_symlink() and real.read_text() == "new"
    assert real.stat().st_mode & 0o777 == 0o640


def test_a_file_that_is_read_only_is_left_alone(tmp_path, monkeypatch):
    (tmp_path / "bar.toml").write_text("old")
    monkeypatch.setattr(os, "access", lambda path, mode: not str(path).endswith(".toml"))  # of root
    with pytest.raises(InputError, match="bar.toml: cannot be written: it is read-only"):
        write_files(tmp_path, {"bar.toml": "new"})
    assert (tmp_path / "bar.toml").read_text() == "old"


# As a person starts it.


def test_a_pipe_sees_no_progress_and_help_has_an_example(scenario, tmp_path):
    def start(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([sys.executable, "-m", "host_sim", *arguments], check=True,
                              cwd=host_sim.REPO_ROOT, capture_output=True, text=True)

    assert start("drive", str(scenario), "--out", str(tmp_path / "out")).stderr == ""
    assert "python -m host_sim drive my.toml" in start("drive", "--help").stdout
    assert "python -m host_sim report out/demo" in start("report", "--help").stdout


def test_what_the_board_wrote_onto_a_card_is_a_recording(scenario, finished, tmp_path, capsys):
    card = tmp_path / "card" / "trace.bin"
    assert drive(scenario, tmp_path / "out", "--card", str(card)) == 0
    assert (tmp_path / "out" / "run.csv").read_bytes() == (finished / "run.csv").read_bytes()
    assert main(["card", "read", "--from", str(card.parent), "--out", str(tmp_path / "read")]) == 0
    assert main(["record", "--from", str(tmp_path / "read" / "trace_0000001.rec"),
                 "--out", str(tmp_path / "run")]) == 0
    there, here = (json.loads((path / "summary.json").read_text())
                   for path in (tmp_path / "out", tmp_path / "run"))
    assert here["volume_l"] == pytest.approx(there["controller_volume_l"], rel=0.02)
    assert "power" in here["about"]["cut_off"] and "started" not in here["about"]
    assert drive(scenario, tmp_path / "out", "--card", str(tmp_path)) == 2
    assert "is in the way" in capsys.readouterr().err
