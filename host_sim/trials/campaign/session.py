"""A campaign: many builds, what came of them all, and the worst of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

import numpy as np

from host_sim.common.parallel import run_all
from host_sim.common.versions import versions
from host_sim.trials.campaign.build import LATE_FACTOR, BuildResult, try_build, try_drifts
from host_sim.twin.disturbances import CALM

PERCENTILES = (50, 90, 99, 100)
ON_TIME_LEAST_PCT = 99.0
WORST = 10


@dataclass(frozen=True)
class Campaign:
    """The results of all builds, in the order of their seeds."""

    results: list[BuildResult]

    @property
    def tuned(self) -> list[BuildResult]:
        """Those whose procedures came to an end."""
        return [result for result in self.results if not result.failure]

    @property
    def failed(self) -> list[BuildResult]:
        """Those for which a procedure gave up."""
        return [result for result in self.results if result.failure]

    @property
    def late(self) -> list[BuildResult]:
        """Those that missed twice their settling time, the latest first."""
        late = [result for result in self.tuned if result.late]
        return sorted(late, key=lambda result: -result.settled_s / result.granted_s)

    @property
    def surging(self) -> list[BuildResult]:
        """Those that go on swinging, the widest first."""
        surging = [result for result in self.tuned if result.swing_pct > 0.0]
        return sorted(surging, key=lambda result: -result.swing_pct)

    @property
    def on_time_pct(self) -> float:
        """Share of all builds that are tuned and settle within twice their settling time."""
        return 100.0 * (len(self.tuned) - len(self.late)) / len(self.results)

    @property
    def answered(self) -> int:
        """How many owners asked for more than the machine can do, and were told so."""
        return sum(result.granted_s > result.asked_s for result in self.tuned)

    def percentiles(self, name: str) -> dict[int, float]:
        """Of one figure over all tuned builds, without its sign."""
        values = np.abs([getattr(result, name) for result in self.tuned])
        return {p: float(np.percentile(values, p)) for p in PERCENTILES}

    def by_kind(self, results: Iterable[BuildResult]) -> dict[str, int]:
        """How many of them are of each kind."""
        return dict(Counter(result.kind for result in results))


def run_campaign(
    builds: int, seed: int, pool: Executor | None, tell: Callable[[float], None],
    field: str = CALM,
) -> Campaign:
    """Try so many builds, with seeds from `seed` on."""
    task = partial(try_build, field=field)
    return Campaign(run_all(task, range(seed, seed + builds), pool, tell))


def run_drifts(
    builds: int, seed: int, pool: Executor | None, tell: Callable[[float], None],
    field: str = CALM,
) -> list[BuildResult]:
    """Try so many builds, each as tuned and after every drift."""
    task = partial(try_drifts, field=field)
    found = run_all(task, range(seed, seed + builds), pool, tell)
    return [result for results in found for result in results]


def build_json(result: BuildResult) -> dict[str, Any]:
    """One build, the figures that other programs ask for by the names that they know."""
    return asdict(result) | {
        "steady_error_pct": result.steady_pct,
        "surge": result.swing_pct > 0.0,
    }


def drifts_json(results: list[BuildResult]) -> dict[str, Any]:
    """Every build after every drift."""
    return {"builds": [build_json(result) for result in results], "versions": versions()}


def as_json(campaign: Campaign) -> dict[str, Any]:
    """Everything by name, JSON-able; names end in their unit."""
    figures = ("settled_s", "overshoot_pct", "wrong_pct", "steady_pct")
    return {
        "count": len(campaign.results),
        "failed": len(campaign.failed),
        "late_factor": LATE_FACTOR,
        "on_time_pct": campaign.on_time_pct,
        "surging": len(campaign.surging),
        "percentiles": {
            name: {f"p{p}": value for p, value in campaign.percentiles(name).items()}
            for name in figures
        } if campaign.tuned else {},
        "builds": [build_json(result) for result in campaign.results],
        "versions": versions(),
    }
