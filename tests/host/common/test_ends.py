"""What ends a command from outside is one line: a full disk, a package that is not there."""

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from host_sim.__main__ import EXIT_BAD_INPUT, main
from host_sim.application_record.folder import make_record
from host_sim.common.errors import InputError
from host_sim.common.output import write_whole
from host_sim.panel import browser
from host_sim.twin.scenario import SCENARIO_DIR

FULL = Path("/dev/full")
MACHINE = SCENARIO_DIR / "plot_bar.machine.toml"
SIZE = ["size", "--rate", "80 L/ha", "--speed", "6 to 12 km/h", "--width", "3 m",
        "--sections", "2, 2, 2"]


@pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is always full")
def test_a_full_disk_is_told():
    with FULL.open("w") as full:
        done = subprocess.run([sys.executable, "-m", "host_sim", *SIZE], stdout=full, check=False,
                              stderr=subprocess.PIPE, text=True)
    assert done.returncode == EXIT_BAD_INPUT
    assert done.stderr == "python -m host_sim size: the disk is full\n"


def full_disk(source, part):
    raise OSError(errno.ENOSPC, "No space left on device", str(source), None, str(part))


def test_a_full_disk_is_told_with_the_file_that_was_to_be_written(tmp_path, monkeypatch):
    """Not with the one that was copied there, nor with one in a directory that is gone again."""
    with pytest.raises(InputError, match=f"^{tmp_path}/a.fmu: cannot be written: No space"):
        write_whole(tmp_path / "a.fmu", lambda part: full_disk("made.fmu", part))
    job = SCENARIO_DIR / "plot_bar_job.toml"
    monkeypatch.setattr(shutil, "copyfile", full_disk)
    (tmp_path / "a.rec").write_text("a recording")
    with pytest.raises(InputError, match=f"^{tmp_path}/out: cannot be written: No space"):
        make_record(tmp_path / "a.rec", job, tmp_path / "out", None)
    assert [path.name for path in tmp_path.iterdir()] == ["a.rec"]


@pytest.mark.skipif(os.name == "nt", reason="this system closes no streams so")
@pytest.mark.parametrize("command", ["board", "drive"])
def test_closed_streams_are_no_error(tmp_path, command):
    """A service, or `<&- 2>&-`: long work, which shows progress elsewhere, comes to its end."""
    words = {"drive": f"drive --machine {MACHINE} --out {tmp_path}",
             "board": f"board check --port {tmp_path / 'nothing'}"}[command]
    done = subprocess.run(f"exec {sys.executable} -m host_sim {words} <&- >&- 2>&-", shell=True,
                          check=False)
    assert done.returncode == {"drive": 0, "board": EXIT_BAD_INPUT}[command]


def test_who_goes_away_while_it_prints_ends_no_command_as_a_failure(tmp_path):
    """`| head -1`; what it was to write is there."""
    wanted = tmp_path / "faults.json"
    into, out = os.pipe()
    os.close(into)
    with open(out, "w") as nobody:
        done = subprocess.run([sys.executable, "-m", "host_sim", "faults", "--json", str(wanted)],
                              stdout=nobody, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert wanted.exists()


@pytest.mark.parametrize("command", [
    ["pressure", "my bar.toml", "--out", "./my bar.toml"],
    ["size", "my bar.toml", "--json", "my bar.toml"],
    ["size", "my bar.toml", "--out", "my bar.toml", "--plot", "link.png"],
    ["report", "field.rec", "--machine", "my bar.toml", "--out", "my bar.toml"],
    ["report", "field.rec", "--out", "field.rec"],
    ["settings", "export", "--from", "my bar.toml", "--out", "my bar.toml"],
    ["zones", "my bar.toml", "--out", "my bar.toml"],
])
def test_nothing_is_written_over_what_a_command_reads(command, tmp_path, monkeypatch, capsys):
    """By whatever name: a slip of the hand costs nobody what took a day to calibrate."""
    monkeypatch.chdir(tmp_path)
    mine = Path("my bar.toml")
    mine.write_text(MACHINE.read_text() + '\n[pressure]\nsignal = "4 to 20 mA"\nrange = "4 bar"\n')
    Path("link.png").symlink_to(mine)
    Path("field.rec").write_text("a recording")
    before = mine.read_bytes()
    assert main(command) == EXIT_BAD_INPUT
    told = capsys.readouterr().err
    assert told.count("\n") == 1 and "is what the command reads: give another file" in told
    assert mine.read_bytes() == before and Path("field.rec").read_text() == "a recording"


def test_a_machine_file_is_sized_in_its_place(tmp_path):
    mine = tmp_path / "my_bar.toml"
    assert main([*SIZE, "--out", str(mine)]) == 0
    assert main(["size", str(mine), "--pump", "L", "--out", str(mine)]) == 0
    assert 'pump = "L"' in mine.read_text()


def test_pictures_without_what_takes_them_are_refused(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(browser, "find_chromium", lambda: "chromium")
    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    assert main(["pictures", "--out", str(tmp_path)]) == EXIT_BAD_INPUT
    told = capsys.readouterr().err
    assert browser.NO_PLAYWRIGHT in told and told.count("\n") == 1
