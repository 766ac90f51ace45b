"""What overlap costs: one field with two headlands, driven by the same hands each time.

By hand alone; then with covered ground held shut, by positions of several receivers. Judged is the
truth: ground that was covered again, and how long a section skipped at most between the headlands.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from host_sim.maps.covered import Covered, covered_by
from host_sim.maps.swaths import swaths_of
from host_sim.runs.record import RunRecord
from host_sim.trials.headland import (
    BAR_M,
    HEADLAND,
    HEADLAND_M,
    RUN_UP_M,
    SECTIONS,
    Headland,
)
from host_sim.twin.scenario import SCENARIO_DIR, Scenario, load_scenario
from host_sim.twin.twin import Twin

SCENARIO = SCENARIO_DIR / "headland.toml"
RECORD, HOLD = 1, 2  # values of position_use
MARGIN_M = 2.0  # into the headlands: a skip at their edge is found whole
M2_HA = 1e4

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Switching:
    """How the sections are switched: a name, position_use, and the receiver of the machine."""

    name: str
    words: str
    use: int
    receiver: dict[str, float]


CORRECTED = {"hz": 10, "quality": 4, "drift_m": 0.015, "drift_s": 60, "jitter_m": 0.01}
UNCORRECTED = {"hz": 1, "quality": 1, "drift_m": 0.65, "drift_s": 300, "jitter_m": 0.03}
WAYS = (
    Switching("by_hand", "by hand", RECORD, CORRECTED),
    Switching("corrected_10_hz", "held, 10 Hz with corrections", HOLD, CORRECTED),
    Switching("corrected_1_hz", "held, 1 Hz with corrections", HOLD, CORRECTED | {"hz": 1}),
    Switching("uncorrected_10_hz", "held, 10 Hz without", HOLD, UNCORRECTED | {"hz": 10}),
    Switching("uncorrected_1_hz", "held, 1 Hz without", HOLD, UNCORRECTED),
)


@dataclass(frozen=True)
class Outcome:
    """What one way did, in truth."""

    way: Switching
    record: RunRecord
    ground_m2: float
    overlap_m2: float
    longest_skip_m: float
    skipped_m2: float


def outcomes(ways: tuple[Switching, ...] = WAYS, seeds: tuple[int, ...] = (1,),
             tell: Progress = lambda share: None) -> Iterator[list[Outcome]]:
    """The outcomes of each way, one a seed."""
    for index, way in enumerate(ways):
        tell(index / len(ways))
        yield [outcome(way, seed) for seed in seeds]


def outcome(way: Switching, seed: int) -> Outcome:
    """Drive once and judge."""
    record = Twin(scenario_of(way, seed)).run()
    covered = covered_by(swaths_of(record))
    assert covered
    longest_m, skipped_m2 = skips(covered, HEADLAND)
    return Outcome(way, record, covered.ground_ha * M2_HA, covered.overlap_ha * M2_HA, longest_m,
                   skipped_m2)


def scenario_of(way: Switching, seed: int) -> Scenario:
    """The shipped scenario with this receiver and use of its position."""
    scenario = load_scenario(SCENARIO, seed=seed)
    scenario.settings.position_use = way.use
    machine = scenario.machine.override(gnss=way.receiver)
    return dataclasses.replace(scenario, title=f"Two headlands, {way.words}", machine=machine)


def skips(covered: Covered, headland: Headland) -> tuple[float, float]:
    """The longest skip along a section between the headlands in m, and all skipped ground in m2."""
    longest_m = bare_m2 = 0.0
    step_m = covered.cell_m / 2
    width_m = BAR_M / SECTIONS
    for section in range(SECTIONS * headland.passes):
        east_m = width_m * (section + 0.5)
        north_m = np.arange(HEADLAND_M - MARGIN_M, headland.top_m(east_m) + MARGIN_M, step_m)
        column = int((east_m + RUN_UP_M - covered.west_m) / covered.cell_m)
        rows = ((north_m - BAR_M / 2 - covered.south_m) / covered.cell_m).astype(int)
        bare = np.concatenate([[False], covered.times[rows, column] == 0, [False]])
        edges = np.flatnonzero(np.diff(bare.astype(int))).reshape(-1, 2)
        if len(edges):
            longest_m = max(longest_m, float(np.diff(edges).max()) * step_m)
            bare_m2 += float(np.diff(edges).sum()) * step_m * width_m
    return longest_m, bare_m2
