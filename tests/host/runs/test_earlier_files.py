"""Files that earlier versions left on a person's computer are read today, with every value.

tests/data/kept/desk holds them; make_kept.py beside it says how they were made.
"""

from __future__ import annotations

import json

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.machine_file.machine import load_machine
from host_sim.runs.files import load_run
from rate_control.settings import Settings

KEPT = REPO_ROOT / "tests/data/kept"
DESK = KEPT / "desk"
ASKED = json.loads((KEPT / "asked.json").read_text("utf-8"))["settings"]
JOB = REPO_ROOT / "host_sim/scenarios/plot_bar_job.toml"
SINCE = ("speed_source", "curve_tolerance_permille", "highest_rate_ml_ha")  # not in the oldest


def in_file(path):
    """The settings that stand in a settings file of then, as they were asked for."""
    text = path.read_text("utf-8")
    return {name: value for name, value in ASKED.items() if f"\n{name} = " in text}


def test_a_settings_file_of_before_machine_files_becomes_one(tmp_path, capsys):
    old, new = DESK / "settings.toml", tmp_path / "new.toml"
    given = in_file(old)
    assert len(given) == len(ASKED) - len(SINCE)
    assert main(["settings", "check", str(old)]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1 and "settings export --from" in told
    assert main(["settings", "export", "--from", str(old), "--out", str(new)]) == 0
    machine = load_machine(new)
    wanted = {**Settings().as_dict(), **given}
    found = machine.settings.as_dict()
    count = wanted["section_count"]  # a machine file gives the widths of sections that are fitted
    for values in (wanted, found):
        values["section_width_mm"] = values["section_width_mm"][:count]
    assert found == wanted
    assert 'how = "as it was in settings.toml"' in new.read_text("utf-8")


@pytest.mark.parametrize(("text", "told"), [
    ("rate_ml_ha = 5\n", "old.toml:1: rate_ml_ha: must be 1000 to 5000000 mL/ha, is 5"),
    ("rate_ml_ha = 9000\nnozzles = 3\n", "old.toml:2: nozzles: there is no such setting"),
    ('rate_ml_ha = "9 mph"\n', "old.toml:1: rate_ml_ha: unit 'mph' is none of"),
    ("title = 'mine'\n", "old.toml: is no settings file of an earlier version"),
])  # fmt: skip
def test_a_bad_one_is_told_and_nothing_is_written(tmp_path, capsys, text, told):
    (tmp_path / "old.toml").write_text(text)
    new = tmp_path / "new.toml"
    assert main(["settings", "export", "--from", str(tmp_path / "old.toml"),
                 "--out", str(new)]) == 2
    assert told in capsys.readouterr().err and not new.exists()


def test_the_first_machine_file_is_read():
    settings = load_machine(DESK / "machine.toml").settings.as_dict()
    for name, value in ASKED.items():
        if name == "highest_rate_ml_ha":  # it did not have that
            assert settings[name] == getattr(Settings(), name)
        elif name == "section_width_mm":
            assert settings[name][:4] == value[:4]
        else:
            assert settings[name] == value, name


@pytest.mark.parametrize("name", ["recording.rec", "run"])
def test_a_run_and_a_recording_are_reported_and_recorded(tmp_path, name):
    run, _ = load_run(DESK / name)
    assert run["true_distance_m"][-1] > 5
    assert main(["report", str(DESK / name), "--out", str(tmp_path / "report")]) == 0
    assert main(["application-record", str(DESK / name), "--job", str(JOB),
                 "--out", str(tmp_path / "record")]) == 0
    assert (tmp_path / "record" / "application_record.html").stat().st_size > 10_000


def test_notes_of_a_run_log_are_no_recording_and_it_is_said(tmp_path, capsys):
    log = tmp_path / "runs.jsonl"
    log.write_text('{"run": 0, "version": 1, "notes": ["list fitted: section width"]}\n')
    assert main(["report", str(log), "--out", str(tmp_path / "report")]) == 2
    assert "is the run log of a board" in capsys.readouterr().err
