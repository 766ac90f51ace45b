"""The last firmware without versions meets what this one keeps, and reads all of it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

from app.files import Files
from app.store import Store
from host_sim import REPO_ROOT
from rate_control.controller import Controller
from rate_control.settings import build
from rate_control.totals import Totals

OLDER = "1453498"
ASKED = json.loads((REPO_ROOT / "tests/data/kept/asked.json").read_text("utf-8"))
READER = """
import json, sys
sys.path[:0] = ["firmware", "."]
from app.application import Application
from app.files import Files
from app.store import Store
from tests.support.link_rig import RigBoard
store = Store(Files(sys.argv[1] + "/"))
application = Application(RigBoard(), store)
controller = application.controller
print(json.dumps([controller.settings.as_dict(), controller.request.settings_state,
                  controller.totals.volume.whole, application.failure]))
"""


def test_an_older_firmware_reads_what_this_one_kept(tmp_path: Path) -> None:
    told = subprocess.run(["git", "archive", OLDER, "firmware", "tests"], cwd=REPO_ROOT,
                          capture_output=True, check=False)
    if told.returncode:
        pytest.skip("the history of the repository is not here")
    with tarfile.open(fileobj=io.BytesIO(told.stdout)) as archive:
        archive.extractall(tmp_path / "older", filter="data")
    kept = tmp_path / "kept"
    kept.mkdir()
    store = Store(Files(f"{kept}/"))
    settings, problems = build(ASKED["settings"])
    assert settings and not problems
    store.attach(Controller(settings))
    totals = Totals()
    totals.volume.whole = 77
    assert store.save_settings(settings.as_dict()) == "" == store.save_totals(totals)
    found = subprocess.run([sys.executable, "-c", READER, str(kept)], cwd=tmp_path / "older",
                           capture_output=True, text=True, check=True).stdout
    values, state, volume_l, failure = json.loads(found)
    assert {name: values[name] for name in values} == {
        name: settings.as_dict()[name] for name in values}
    assert (state, volume_l, failure) == (0, 77, "")
