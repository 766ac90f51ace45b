"""The matrix, shortened: faults alone and a seeded part of the pairs, every promise watched."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.trials.trust import fuzz, page
from host_sim.trials.trust.__main__ import main
from host_sim.trials.trust.breaks import BREAKS, BY_NAME
from host_sim.trials.trust.case import STATES, TrustCase, brought, parse, run_case
from host_sim.trials.trust.clean import drive_clean
from host_sim.trials.trust.machines import ready
from host_sim.trials.trust.matrix import failures, pairs, row, sample, singles
from host_sim.trials.trust.session import TrustPart
from rate_control.interlock import STATE_NAMES

PAIRS = 24
KINDS = ("electric_m", "bypass_pd")


def test_every_fault_alone_is_told_in_time_and_breaks_no_promise() -> None:
    wrong = [(str(outcome.case), failures(outcome)) for outcome in page.outcomes()
             if failures(outcome)]
    assert not wrong


@pytest.mark.parametrize("case", sample(pairs(KINDS), PAIRS, seed=7), ids=str)
def test_two_faults_together_break_no_promise(case: TrustCase) -> None:
    assert not failures(run_case(case))


@pytest.mark.parametrize("state", STATES)
def test_a_machine_is_brought_into_its_state(state: str) -> None:
    station = brought(state, "electric_m")
    assert STATE_NAMES[station.state] == state
    assert station.outputs_on == (state in ("applying", "bench"))


def test_a_copied_machine_goes_on_as_the_one_it_was_copied_from() -> None:
    """Cases share the way into their state; the second one must not find traces of the first."""
    case = TrustCase(("stuck_meter",), "applying", "electric_m")
    first = run_case(case)
    run_case(TrustCase(("speed_noise", "leak"), "applying", "electric_m"))
    assert run_case(case) == first


def test_every_pair_is_there_once() -> None:
    names = {entry.name for entry in BREAKS if ready("electric_m").takes(entry)}
    found = [case.names for case in pairs(("electric_m",), ("parked",))]
    assert len(found) == len(set(found)) == len(names) * (len(names) - 1) // 2
    assert len(singles(("electric_m",), ("parked",))) == len(names) == len(BREAKS) - 3
    assert len(BY_NAME) == len(BREAKS)


def test_the_page_says_what_no_sensor_can_see() -> None:
    text = (REPO_ROOT / "docs" / "reference" / "bad_day.md").read_text()
    unseen = text.split("## What no sensor can see")[1].split("##")[0]
    for name in ("half_blocked_section", "leak", "slip", "implement_stuck_down"):
        assert BY_NAME[name].what in unseen
    for name in ("stuck_meter", "tank_empty", "silent_speed"):
        assert BY_NAME[name].what not in unseen
    assert BY_NAME["outputs_welded"].what in text.split("## What the controller cannot stop")[1]


def test_a_promise_of_being_told_can_fail() -> None:
    outcome = run_case(TrustCase(("leak",), "applying", "electric_m"))
    silent = TrustCase(("stuck_meter",), "applying", "electric_m")
    assert failures(type(outcome)(silent, (), None, None, False, False, ())) == [
        "nobody was told"]
    assert row("leak", [outcome]).unseen_on == ("electric_m",)


@pytest.mark.parametrize("seed", [542, 587])
def test_a_clean_part_of_an_hour_raises_no_alarm(seed: int) -> None:
    """Both raised false alarms once: a slow valve in bypass, hoses that stretch much."""
    hour = drive_clean(seed, 0.12)
    assert (hour.alarms, hour.broken, hour.failure) == ((), (), "")
    assert hour.hours > 0.1


def test_the_command_writes_every_figure(tmp_path: Path, capsys: pytest.CaptureFixture[str],
                                         monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("host_sim.trials.trust.session.other_part",
                        lambda module, share: TrustPart({"name": module}, module))
    monkeypatch.setattr("host_sim.trials.trust.__main__.session.drive_hours",
                        lambda hours, pool, tell: [drive_clean(537, 0.01)] * hours)
    out = tmp_path / "trust.json"
    status = main(["--share", "0.0005", "--hours", "1", "--workers", "1", "--out", str(out)])
    figures = json.loads(out.read_text())
    assert status == 0, capsys.readouterr().out
    # no machine has a valve and a receiver, nor a valve and a pump that is driven: two ways to
    # stick, each with one fault of a receiver and one of a driver
    assert figures["pairs"]["count"] == len(BREAKS) * (len(BREAKS) - 1) // 2 - 4
    assert figures["pairs"]["runs"] >= 1
    assert figures["faults"]["count"] == len(BREAKS)
    assert figures["false_alarms_per_clean_hour"]["count"] == 0
    assert {figures[name]["name"] for name in ("states", "mutants", "fuzz")} == {
        "states", "mutants", "fuzz"}


def test_every_other_part_is_there() -> None:
    for name in ("states", "mutants", "fuzz"):
        assert callable(importlib.import_module(f"host_sim.trials.trust.{name}").trust_part)


def test_a_failure_is_repeated_by_its_command() -> None:
    case = TrustCase(("tank_empty", "leak"), "applying", "electric_m")
    assert parse(str(case)) == case
    done = subprocess.run([sys.executable, "-m", "host_sim.trials.trust", "--case", str(case)],
                          cwd=REPO_ROOT, capture_output=True, text=True, check=False)
    outcome = run_case(case)
    assert done.returncode == 0
    assert f"told {outcome.noticed_s:.2f} s" in done.stdout


@pytest.mark.parametrize("text", ["leak", "nothing/applying/electric_m", "leak/flying/electric_m",
                                  "leak/applying/tractor", "leak+/applying/electric_m"])
def test_a_case_that_is_none_is_one_line(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--case", text]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert text in error


def test_fuzzing_is_counted_and_what_it_finds_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    said = ("job                  500 executions,       120 taken,       380 refused in words\n"
            "scenario: seed 3: KeyError: 'speed'\n"
            "scenario             1,250 executions,       10 taken,       1,240 refused in words\n")
    monkeypatch.setattr("subprocess.run", lambda *args, **options:
                        subprocess.CompletedProcess(args, 1, said))
    part = fuzz.trust_part(1.0)
    assert part.figures == {"count": 1750, "loaders": 2, "failed": 1}
    assert "scenario: seed 3: KeyError" in part.failed[0][1]
    monkeypatch.setattr("subprocess.run", lambda *args, **options:
                        subprocess.CompletedProcess(args, 1, ""))
    assert fuzz.trust_part(1.0).figures["failed"] == 1
