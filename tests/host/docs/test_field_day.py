"""*From an idea to a field day*, followed from an empty folder, in metric and in US units.

Every block of the page is run as it stands there; only the port is that of a twin at the end of a
serial line, and somebody works the machine while the day is recorded.
"""

from __future__ import annotations

import contextlib
import json
import re
import shlex
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import COMMAND, main
from host_sim.board.link_client import LinkClient
from host_sim.board.link_port import SerialPort
from host_sim.machine_file.machine import load_machine
from host_sim.twin.plain_drive import plain_drive
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER
from tests.support.installed import words_and_environment
from tests.support.serial_twin import serial_twin

PAGE = REPO_ROOT / "docs" / "tutorial" / "from_idea_to_field_day.md"
BLOCK = re.compile(r"(?:^(Metric|US):\n\n)?^```sh\n(.*?)^```", re.MULTILINE | re.DOTALL)
PORT = "/dev/ttyACM0"
MACHINE = "my_bar.toml"
UNENDING = ("panel", "record")
SOON_S = 60.0
RECORDED_S = 4.0
SPEED_M_S = 2.0
QUANTITY = re.compile(r"^[\d.]+ ?[A-Za-z/]+$")


def commands(system: str) -> list[list[str]]:
    """The command lines of one walk, in the order of the page, as words without the command."""
    lines = []
    for of, block in BLOCK.findall(PAGE.read_text(encoding="utf-8")):
        if of in ("", system):
            lines += block.replace("\\\n", " ").splitlines()
    words = [shlex.split(line) for line in lines]
    assert all(line[0] == COMMAND for line in words)
    return [line[1:] for line in words]


class Walk:
    """A person in an empty folder with this page and, from step 4 on, a board on a cable."""

    def __init__(self, folder: Path, site: Path | None) -> None:
        self.folder = folder
        self._site = site
        self._cable = contextlib.ExitStack()
        self._board = None

    def follow(self, lines: list[list[str]]) -> None:
        with self._cable, contextlib.chdir(self.folder):
            for line in lines:
                words = [self._port() if word == PORT else word for word in line]
                if words[0] in UNENDING:
                    self._until_interrupted(words)
                else:
                    assert self._run(words) == 0, words
                self._look(words)

    def _port(self) -> str:
        if self._board is None:
            self._board = self._cable.enter_context(serial_twin(plain_drive(
                load_machine(Path(MACHINE)))))
        return self._board[1]

    def _run(self, words: list[str]) -> int:
        if self._site is None:
            return main(words)
        line, environment = words_and_environment(self._site, tuple(words))
        return subprocess.run(line, env=environment, check=False).returncode

    def _until_interrupted(self, words: list[str]) -> None:
        line, environment = words_and_environment(self._site, tuple(words)) if self._site else (
            [sys.executable, "-m", "host_sim", *words], None)
        if words[0] == "panel":
            line += ["--tcp-port", "0"]  # many tests may run at once
        with subprocess.Popen(line, env=environment, stdout=subprocess.PIPE, text=True) as running:
            if words[0] == "panel":
                told = running.stdout.readline()
                address = re.search(r"http://\S+", told)[0]
                assert urllib.request.urlopen(address, timeout=SOON_S).status == 200
            else:
                self._work(Path(words[words.index("--out") + 1]))
            running.send_signal(signal.SIGINT)
            try:
                assert running.wait(SOON_S) == 0
            finally:
                running.kill()  # one that does not end must not hold up the tests

    def _work(self, recording: Path) -> None:
        """Arm, lower and drive, as soon as something is recorded, for some seconds."""
        twin, _ = self._board
        until_s = time.monotonic() + SOON_S
        while not recording.exists() or recording.stat().st_size < 3000:
            assert time.monotonic() < until_s
            time.sleep(0.05)
        twin.board.switches |= SWITCH_MASTER | SWITCH_IMPLEMENT
        twin.vehicle.at_speed(SPEED_M_S)
        time.sleep(RECORDED_S)

    def _look(self, words: list[str]) -> None:
        """What is on the board after it was given the file is what stands there."""
        if words[:3] == ["board", "settings", "set"]:
            port = self._port()
            values = LinkClient(lambda: SerialPort(port)).ask("settings.get")["values"]
            wanted = load_machine(Path(MACHINE)).settings.as_dict()
            assert {name: values[name] for name in wanted} == wanted


def typed(words: list[str]) -> list[str]:
    """The quantities in a command: numbers with a unit."""
    return [word for word in words if QUANTITY.match(word)]


@pytest.mark.parametrize(("system", "unit", "foreign"), [
    ("Metric", "L/ha", "gal/ac"), ("US", "gal/ac", "L/ha")], ids=["metric", "us"])
def test_the_walk_leads_from_an_empty_folder_to_a_report(
        system, unit, foreign, tmp_path, request, record_property):
    lines = commands(system)
    site = request.getfixturevalue("site") if system == "Metric" else None
    Walk(tmp_path, site).follow(lines)

    machine = load_machine(tmp_path / MACHINE)
    assert machine.us == (system == "US")
    assert machine.width_m == pytest.approx(3.0 if system == "Metric" else 12 * 0.3048, rel=1e-3)
    assert {"meter", "speed_sensor", "pump_curve", "step_test"} <= set(
        machine.source.data["learned"])
    for name in ("field_day.html", "rehearsal/report.html", "tuned/tune.png"):
        assert (tmp_path / name).stat().st_size > 10_000
    page = (tmp_path / "field_day.html").read_text(encoding="utf-8")
    assert unit in page and foreign not in page
    assert json.loads((tmp_path / "rehearsal/summary.json").read_text())[
        "distance_within_5_pct"] > 95
    if site:
        assert str(REPO_ROOT) not in (tmp_path / "rehearsal/report.html").read_text()
    record_property("summary", f"field day, {system} units: {len(lines)} commands typed, "
                               f"{retyped(lines)} values typed twice")
    assert retyped(lines) == 0


def retyped(lines: list[list[str]]) -> int:
    """How many quantities stand in a command that stood in one before it."""
    seen: set[str] = set()
    twice = 0
    for words in lines:
        twice += len(seen & set(typed(words)))
        seen |= set(typed(words))
    return twice


def test_both_walks_have_the_same_steps():
    metric, us = ([line[0] for line in commands(system)] for system in ("Metric", "US"))
    assert metric == us
    assert {"size", "board", "calibrate", "panel", "tune", "drive", "record", "report"} <= set(us)


def test_a_value_that_is_typed_twice_is_seen():
    assert retyped([["size", "--rate", "100 L/ha"], ["tune", "--rate", "100 L/ha"]]) == 1
