"""Work on a dask cluster that is started the ordinary way: real processes, in another folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.common.parallel import cluster_problem, executor, run_all
from host_sim.common.versions import fingerprint
from host_sim.trials.campaign.build import try_build

PATIENCE_S = 60
STALE = "a campaign must not mix two programs\n"


@contextmanager
def cluster(folder: Path, python_path: Path | None, workers: int = 1) -> Iterator[str]:
    """A scheduler and its workers as `dask scheduler` and `dask worker` start them.

    They run in `folder`, and find the package in `python_path`; gives the scheduler's address.
    """
    place = folder / "scheduler.json"
    env = {name: text for name, text in os.environ.items() if name != "PYTHONPATH"}
    if python_path:
        env["PYTHONPATH"] = str(python_path)
    dask = [sys.executable, "-P", "-m", "dask"]
    common = ["--scheduler-file", str(place)]
    commands = [[*dask, "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
                 *common]]
    commands += [[*dask, "worker", "--nthreads", "1", "--no-nanny", "--no-dashboard",
                  "--host", "127.0.0.1", *common]] * workers
    processes = [subprocess.Popen(command, cwd=folder, env=env, stdout=subprocess.DEVNULL,
                                  stderr=subprocess.DEVNULL) for command in commands]
    try:
        yield _address(place, workers)
    finally:
        for process in reversed(processes):
            process.kill()  # they hold nothing that is worth an orderly end
            process.wait(PATIENCE_S)


def _address(place: Path, workers: int) -> str:
    """The scheduler's address, once it and its workers are there."""
    from distributed import Client

    end_s = time.monotonic() + PATIENCE_S
    while not place.exists():
        assert time.monotonic() < end_s, "no scheduler"
        time.sleep(0.1)
    with Client(scheduler_file=str(place)) as client:
        if workers:
            client.wait_for_workers(workers, timeout=PATIENCE_S)
        return str(client.scheduler.address)


def copy_of_the_tree(folder: Path, stale: bool) -> Path:
    """What another computer has installed: the same program, or an older one."""
    for name in ("host_sim", "firmware"):
        shutil.copytree(REPO_ROOT / name, folder / name,
                        ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copyfile(REPO_ROOT / "pyproject.toml", folder / "pyproject.toml")
    if stale:
        changed = folder / "firmware" / "rate_control" / "units.py"
        changed.write_text(changed.read_text() + f"# {STALE}")
    return folder


def test_cluster_started_in_another_folder_gives_the_same(tmp_path: Path) -> None:
    tree = copy_of_the_tree(tmp_path / "installed", stale=False)
    with cluster(tmp_path, tree, workers=2) as address, executor(None, address) as pool:
        results = run_all(try_build, [1, 2, 3], pool, lambda share: None)
    assert results == [try_build(seed) for seed in (1, 2, 3)]


@pytest.mark.parametrize("lacks", ["the same version", "the package", "a worker"])
def test_other_clusters_are_refused_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], lacks: str
) -> None:
    tree = None
    if lacks == "the same version":
        tree = copy_of_the_tree(tmp_path / "installed", stale=True)
    elif lacks == "the package":  # whatever else is installed here, this comes first
        tree = tmp_path / "empty"
        (tree / "host_sim").mkdir(parents=True)
        (tree / "host_sim" / "__init__.py").write_text("")
    with cluster(tmp_path, tree, workers=int(lacks != "a worker")) as address:
        assert main(["campaign", "--builds", "1", "--dask", address]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert address in said
    assert ("has no worker" if lacks == "a worker" else "another program") in said


def test_problem_names_the_worker() -> None:
    ours = fingerprint()
    assert cluster_problem({"tcp://a": ours}, ours) == ""
    assert "tcp://b" in cluster_problem({"tcp://a": ours, "tcp://b": "0.0.9+123"}, ours)
