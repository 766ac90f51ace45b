"""What ends a command from outside is one line: a full disk, a package that is not there."""

import subprocess
import sys
from pathlib import Path

import pytest

from host_sim.__main__ import EXIT_BAD_INPUT, main
from host_sim.panel import browser

FULL = Path("/dev/full")
SIZE = ["size", "--rate", "80 L/ha", "--speed", "6 to 12 km/h", "--width", "3 m",
        "--sections", "2, 2, 2"]


@pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is always full")
def test_a_full_disk_is_told():
    with FULL.open("w") as full:
        done = subprocess.run([sys.executable, "-m", "host_sim", *SIZE], stdout=full, check=False,
                              stderr=subprocess.PIPE, text=True)
    assert done.returncode == EXIT_BAD_INPUT
    assert done.stderr == "python -m host_sim size: the disk is full\n"


def test_pictures_without_what_takes_them_are_refused(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(browser, "find_chromium", lambda: "chromium")
    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    assert main(["pictures", "--out", str(tmp_path)]) == EXIT_BAD_INPUT
    told = capsys.readouterr().err
    assert browser.NO_PLAYWRIGHT in told and told.count("\n") == 1
