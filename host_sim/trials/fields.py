"""The yardstick: how well the loop holds its rate in a calm, an ordinary and a rough field.

One drive in each, on the same way with the same seeds, the figures side by side. Sizes of the
disturbances: host_sim/twin/disturbances.py. A radar's noise takes the place of an eccentric
wheel where the name says so.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from host_sim.common.parallel import run_all
from host_sim.runs.summary import metre_figures, rate_error
from host_sim.runs.truth import Truth, ground_of, true_run
from host_sim.twin.disturbances import CALM, ORDINARY, RADAR, ROUGH
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.twin import Twin

CASES = ((CALM, False), (ORDINARY, False), (ROUGH, False), (ORDINARY, True), (ROUGH, True))


@dataclass(frozen=True)
class Row:
    """The figures of one field, in percent: means over the seeds, rms in the square.

    `metre_` ones count from the moment the implement is down, `permitted_` ones are by the metre,
    too, but only where the controller permitted to apply; `tick_` ones are those of each interval
    of 0.05 s, of the whole bar, where it was permitted. `starts_` is by the metre from the moment
    the implement is down, for a rate that is right wherever it was permitted.
    """

    field: str
    radar: bool
    metre_rms_pct: float
    metre_within_5_pct: float
    permitted_rms_pct: float
    permitted_within_5_pct: float
    tick_rms_pct: float
    tick_within_5_pct: float
    starts_rms_pct: float

    @property
    def words(self) -> str:
        return f"{self.field}, radar" if self.radar else self.field


def run_fields(
    scenario: Scenario, seeds: tuple[int, ...], pool: Executor | None = None,
    tell: Callable[[float], None] = lambda share: None,
) -> list[Row]:
    """Drive the scenario in every field, with every seed."""
    tasks = [partial(drive_field, replace(scenario, seed=seed), *case)
             for case in CASES for seed in seeds]
    figures = run_all(_call, tasks, pool, tell)
    return [_mean(figures[place * len(seeds) : (place + 1) * len(seeds)])
            for place in range(len(CASES))]


def _call(task: Callable[[], Row]) -> Row:
    return task()


def drive_field(scenario: Scenario, field: str, radar: bool) -> Row:
    """One drive, judged."""
    events = [Event("a radar senses the speed", at_s=0.0, faults=RADAR[field])] if radar else []
    scenario = replace(scenario, field=field, events=events + scenario.events)
    truth = true_run(Twin(scenario).run(), scenario.section_width_m)
    widths_m = scenario.section_width_m
    ticks = rate_error(truth)
    return Row(
        field, radar,
        **metre_figures(ground_of(truth, truth.asked), widths_m, "metre_"),
        **metre_figures(ground_of(truth, truth.permitted), widths_m, "permitted_"),
        tick_rms_pct=ticks["rate_error_rms_pct"],
        tick_within_5_pct=ticks["distance_within_5_pct"],
        starts_rms_pct=starts_alone(truth, widths_m),
    )


def starts_alone(truth: Truth, widths_m: list[float]) -> float:
    """By the metre, rms, if the rate were right wherever the controller permitted to apply."""
    right = np.where(truth.permitted[:, None], truth.section_target_ml, truth.section_volume_ml)
    ground = ground_of(replace(truth, section_volume_ml=right), truth.asked)
    rms_pct: float = metre_figures(ground, widths_m, "")["rms_pct"]
    return rms_pct


def _mean(rows: list[Row]) -> Row:
    """Over the seeds of one field."""
    figures = {}
    for name, value in asdict(rows[0]).items():
        if name in ("field", "radar"):
            figures[name] = value
            continue
        values = np.array([getattr(row, name) for row in rows], dtype=np.float64)
        square = name.endswith("rms_pct")
        figures[name] = float(np.sqrt(np.mean(values**2)) if square else np.mean(values))
    return Row(**figures)


HEADS = (
    f"{'':<16}{'by metre, from':>20}{'by metre, where':>20}{'by 0.05 s, where':>20}"
    f"{'starts':>9}",
    f"{'':<16}{'the implement down':>20}{'it was permitted':>20}{'it was permitted':>20}"
    f"{'alone':>9}",
    f"{'':<16}" + f"{'rms %':>10}{'within 5':>10}" * 3 + f"{'rms %':>9}",
)


def fields_text(rows: list[Row]) -> str:
    """The table, ready to print; `within 5` is the share of the ground within 5 %."""
    lines = [*HEADS]
    for row in rows:
        figures = list(asdict(row).values())[2:]
        lines.append(f"{row.words:<16}" + "".join(f"{figure:>10.2f}" for figure in figures[:-1])
                     + f"{figures[-1]:>9.2f}")
    return "\n".join(lines)


def as_json(rows: list[Row], seeds: tuple[int, ...]) -> dict[str, Any]:
    """Everything by name."""
    return {"seeds": list(seeds), "fields": [asdict(row) for row in rows]}
