"""The environment is made anew from whatever state it is in, and only called complete if it is."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.build import set_up

SCRIPT = REPO_ROOT / "host_sim/build/set_up.py"
HELD = "import fcntl, sys, time; f = open(sys.argv[1], 'w'); fcntl.flock(f, fcntl.LOCK_EX); " \
       "print('held', flush=True); sys.stdin.read()"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project without packages: its lock files hold nothing."""
    monkeypatch.setattr(set_up, "ROOT", tmp_path)
    monkeypatch.setattr(set_up, "VENV", tmp_path / ".venv")
    locks = {name: tmp_path / f"{name}.lock" for name in set_up.LOCKS}
    for lock in locks.values():
        lock.write_text("")
    monkeypatch.setattr(set_up, "LOCKS", locks)
    (tmp_path / ".venv").mkdir()
    return tmp_path


def complete(name: str) -> None:
    set_up.marker(name).write_text(set_up.made_from(name))


def test_complete_is_only_what_says_so(place: Path) -> None:
    assert not set_up.is_complete("run")
    complete("run")
    assert set_up.is_complete("run")
    assert not set_up.is_complete("all")


def test_all_holds_what_a_drive_needs(place: Path) -> None:
    complete("all")
    assert set_up.is_complete("run")


@pytest.mark.parametrize("change", ["the lock", "the folder", "the Python"])
def test_made_from_something_else_is_not_complete(
    place: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    complete("all")
    if change == "the lock":
        set_up.LOCKS["all"].write_text("a==1\n")
    elif change == "the folder":
        moved = place / "moved"
        (place / ".venv").rename(moved)
        monkeypatch.setattr(set_up, "VENV", moved)
    else:
        monkeypatch.setattr(sys, "version", "3.99.0 of tomorrow")
    assert not set_up.is_complete("all")


def test_what_was_interrupted_is_made_anew(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rest = place / ".venv" / "half_a_package.py"
    rest.write_text("")
    done: list[tuple[str, ...]] = []
    monkeypatch.setattr(set_up, "do", lambda *command, silent=False: done.append(command)
                        or (place / ".venv").mkdir(exist_ok=True))
    set_up.build("run")
    assert not rest.exists()
    assert done[0][1:3] == ("-m", "venv")
    assert set_up.is_complete("run")


def test_nothing_is_complete_where_something_failed(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*command: str, silent: bool = False) -> None:
        (place / ".venv").mkdir(exist_ok=True)
        if "check" in command:  # the very last step
            raise set_up.SetUpError("no")

    monkeypatch.setattr(set_up, "do", fails)
    with pytest.raises(set_up.SetUpError):
        set_up.build("all")
    assert not set_up.is_complete("all")


def test_a_missing_package_is_found(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    lock.write_text("no-such-package-as-this==1.0 --hash=sha256:" + 64 * "0" + "\n")
    with pytest.raises(set_up.SetUpError, match="set-up failed"):
        set_up.verify(sys.executable, lock)


def test_two_at_once_wait_for_each_other(place: Path) -> None:
    holder = subprocess.Popen([sys.executable, "-c", HELD, str(place / ".setup.lock")],
                              stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert holder.stdout and holder.stdin
    holder.stdout.readline()
    try:
        program = ("from host_sim.build import set_up as s; from pathlib import Path; "
                   f"s.ROOT = Path({str(place)!r})\nwith s.alone(): print('alone', flush=True)")
        waiting = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True, cwd=REPO_ROOT)
        assert waiting.stderr and waiting.stdout
        assert "waiting" in waiting.stderr.readline()
        assert waiting.poll() is None
    finally:
        holder.communicate("")
    assert waiting.communicate()[0] == "alone\n"


def test_an_old_python_is_refused_in_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 10, 12))
    assert set_up.main(["run"]) == 1
    assert capsys.readouterr().err.count("\n") == 1
