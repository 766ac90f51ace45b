"""Lint and types, so that one count covers every check."""

import subprocess
import sys

import pytest

from tests.repo.tree import ROOT


@pytest.mark.parametrize("command", [("ruff", "check", "."), ("mypy",)], ids=["ruff", "mypy"])
def test_checker_has_nothing_to_say(command):
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, check=False, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
