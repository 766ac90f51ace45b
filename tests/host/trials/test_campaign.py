"""Campaigns: builds follow from their seeds, on one process, on many and on a dask cluster."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from host_sim.__main__ import main
from host_sim.common.parallel import executor
from host_sim.trials.campaign.build import draw_build, swing, try_build
from host_sim.trials.campaign.session import Campaign, run_campaign

SEEDS = range(1, 5)


@pytest.fixture(scope="module")
def here() -> Campaign:
    return run_campaign(len(SEEDS), SEEDS[0], None, lambda share: None)


def test_a_build_follows_from_its_seed(here: Campaign) -> None:
    assert draw_build(3) == draw_build(3)
    assert draw_build(3) != draw_build(4)
    assert try_build(3) == here.results[2]


def test_few_builds_are_tuned_and_on_time(here: Campaign) -> None:
    assert not here.failed
    assert not here.late
    assert not here.surging


def test_processes_and_a_cluster_give_the_same(here: Campaign) -> None:
    with executor(2) as pool:
        assert run_campaign(len(SEEDS), SEEDS[0], pool, lambda share: None) == here
    from distributed import LocalCluster

    with (LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster,
          executor(None, cluster.scheduler_address) as pool):
        assert run_campaign(len(SEEDS), SEEDS[0], pool, lambda share: None) == here


def test_a_swing_is_told_from_a_slope_and_from_noise() -> None:
    import numpy as np

    time = np.arange(160) * 0.05
    assert swing(0.05 * np.sin(2 * np.pi * time / 2)) == pytest.approx(0.05, rel=0.05)
    assert swing(0.10 * np.exp(-time)) == 0.0
    assert swing(0.005 * np.sin(2 * np.pi * time / 2)) == 0.0


def test_verb(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data, picture = tmp_path / "c.json", tmp_path / "c.png"
    assert main(["campaign", "--builds", "4", "--workers", "1", "--json", str(data),
                 "--plot", str(picture)]) == 0
    assert "4 builds" in capsys.readouterr().out
    assert len(json.loads(data.read_text())["results"]) == 4
    assert picture.exists()
    assert main(["campaign", "--replay", "2"]) == 0
    assert '"kind"' in capsys.readouterr().out


def test_nobody_at_the_cluster(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["campaign", "--builds", "1", "--dask", "not an address"]) == 2
    assert "--dask" in capsys.readouterr().err
