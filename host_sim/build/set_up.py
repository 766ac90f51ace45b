"""Builds the project's environment, .venv, with the pinned packages: `make setup`.

    python3 host_sim/build/set_up.py run    what driving, sizing, the panel and a board need
    python3 host_sim/build/set_up.py all    that, and what tests and builds need

It uses nothing but the standard library, for it runs before anything is installed. An environment
counts as complete only once a marker in it says so, and the marker names what it was made
from: which Python, in which folder, from which lock file. So whatever was interrupted, moved,
copied or made by another Python is noticed and mended. Two at once wait for each other.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VENV = ROOT / ".venv"
LOCKS = {"run": ROOT / "requirements-run.lock", "all": ROOT / "requirements.lock"}
SIZES = {"run": "0.4 GB", "all": "1.1 GB"}  # `du -sh .venv` after each
PYTHON_LEAST = (3, 11)
PIP = ("-m", "pip", "--disable-pip-version-check")
QUIET = ("--quiet", "--quiet", "--progress-bar", "off")


class SetUpError(Exception):
    """What stands in the way, in one line."""


def main(arguments: list[str]) -> int:
    """Make the environment complete; returns the exit status."""
    wanted = arguments[0] if arguments else "all"
    try:
        check_python()
        with alone():
            if not is_complete(wanted):
                build(wanted)
    except SetUpError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("interrupted: the next run begins anew", file=sys.stderr)
        return 130
    return 0


def check_python() -> None:
    """Raise SetUpError where this Python cannot build the environment."""
    if sys.version_info < PYTHON_LEAST:
        raise SetUpError("Python 3.11 or newer is needed; name one: "
                         "make PYTHON=/path/to/python3 ...")
    if not all(importlib.util.find_spec(name) for name in ("ensurepip", "venv")):
        raise SetUpError("Python cannot build an environment; on Debian: "
                         "apt-get install python3-venv")


@contextmanager
def alone() -> Iterator[None]:
    """Wait until no other set-up is at work in this folder, and keep others waiting."""
    try:
        import fcntl
    except ImportError:  # a system without it: one at a time is up to the person
        yield
        return
    with (ROOT / ".setup.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            tell("another set-up is at work here; waiting for it ...")
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def is_complete(wanted: str) -> bool:
    """Whether the environment holds what is wanted, made from the present lock files."""
    names = ("all",) if wanted == "all" else ("run", "all")  # all of it holds the other too
    return any(marker(name).is_file() and marker(name).read_text() == made_from(name)
               for name in names)


def marker(name: str) -> Path:
    """The file that says that a set of packages is whole."""
    return VENV / f".complete-{name}"


def made_from(name: str) -> str:
    """What an environment must have been made from to serve now."""
    digest = hashlib.sha256(LOCKS[name].read_bytes()).hexdigest()
    return json.dumps([sys.version, str(VENV.resolve()), digest]) + "\n"


def build(wanted: str) -> None:
    """Install what the lock file holds, and the project itself in place."""
    python = VENV / ("Scripts" if os.name == "nt" else "bin") / "python"
    if not any(is_complete(name) for name in LOCKS):
        shutil.rmtree(VENV, ignore_errors=True)  # interrupted, moved, or made from something else
        tell(f"Installing the pinned packages in {VENV.name} ({SIZES[wanted]} on the disk); the "
             "first time takes a minute ...")
        do(sys.executable, "-m", "venv", str(VENV))
    do(str(python), *PIP, "install", *QUIET, "--no-deps", "--require-hashes",
       "--requirement", str(LOCKS[wanted]))
    do(str(python), *PIP, "install", *QUIET, "--no-deps", "--no-build-isolation",
       "--no-index", "--editable", str(ROOT))
    verify(str(python), LOCKS[wanted])
    part = marker(wanted).with_suffix(".part")
    part.write_text(made_from(wanted))
    part.replace(marker(wanted))


def verify(python: str, lock: Path) -> None:
    """Raise SetUpError where something that the lock file holds is not there after all."""
    do(python, *PIP, "install", *QUIET, "--dry-run", "--no-index", "--no-deps",
       "--require-hashes", "--requirement", str(lock))
    do(python, *PIP, "check", silent=True)


def do(*command: str, silent: bool = False) -> None:
    """Run a command. Raises SetUpError where it fails, KeyboardInterrupt where it was stopped."""
    done = subprocess.run(command, check=False, cwd=ROOT,
                          stdout=subprocess.DEVNULL if silent else sys.stderr)
    if done.returncode in (130, -2):
        raise KeyboardInterrupt
    if done.returncode:
        raise SetUpError(f"set-up failed; what did was: {' '.join(command)}")


def tell(text: str) -> None:
    """Say what goes on."""
    print(text, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
