"""The package as `pip install` leaves it, and its command run in any folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from host_sim.__main__ import COMMAND
from tests.repo.tree import name_of, repository_files


def install(checkout: Path, site: Path) -> Path:
    """Install a copy of the tree into a folder. The packages it needs are ours."""
    for path in repository_files():
        target = checkout / name_of(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
         "--no-deps", "--no-build-isolation", "--target", str(site), str(checkout)],
        check=True)
    shutil.rmtree(checkout)  # nothing may hang on it
    return site


def words_and_environment(site: Path, arguments: tuple[str, ...]) -> tuple[
        list[str], dict[str, str]]:
    """What starts the installed command with these arguments."""
    return ([sys.executable, str(site / "bin" / COMMAND), *arguments],
            os.environ | {"PYTHONPATH": str(site)})


def command(site: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the installed command in a folder."""
    words, environment = words_and_environment(site, arguments)
    return subprocess.run(words, cwd=folder, text=True, capture_output=True, env=environment,
                          check=False)
