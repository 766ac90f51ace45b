"""The yardstick: how well the loop holds its rate in a calm, an ordinary and a rough field.

One drive in each, on the same way with the same seeds, the figures side by side. Sizes of the
disturbances: host_sim/twin/disturbances.py. A radar's noise takes the place of an eccentric
wheel where the name says so. The dynamic oracle of the acceptance test may drive the same, with
the same sensors, debounce and interlock: what it shows is what a controller could.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import asdict, dataclass, fields, replace
from functools import partial
from typing import Any

import numpy as np

from host_sim.common.parallel import run_all
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.summary import metre_figures, rate_error
from host_sim.runs.truth import Truth, ground_of, true_run
from host_sim.trials.acceptance.contenders import CONTENDERS, THE_CONTROLLER
from host_sim.twin.disturbances import CALM, ORDINARY, RADAR, ROUGH
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.twin import Twin

RADAR_WORDS = "a radar senses the speed"
CASES = ((CALM, False), (ORDINARY, False), (ROUGH, False), (ORDINARY, True), (ROUGH, True))


@dataclass(frozen=True)
class Row:
    """The figures of one field and contender, in percent: means over the seeds, rms in the square.

    `metre_` ones count from the moment the implement is down, `permitted_` ones are by the metre,
    too, but only where the controller permitted to apply; `tick_` ones are those of each interval
    of 0.05 s, of the whole bar, where it was permitted. `starts_` is by the metre from the moment
    the implement is down, for a rate that is right wherever it was permitted; `at_once_` the same
    for a machine without any lag, which gives at once what belongs to the speed as it was sensed.
    """

    field: str
    radar: bool
    contender: str
    metre_rms_pct: float
    metre_within_5_pct: float
    permitted_rms_pct: float
    permitted_within_5_pct: float
    tick_rms_pct: float
    tick_within_5_pct: float
    starts_rms_pct: float
    at_once_rms_pct: float

    @property
    def words(self) -> str:
        return f"{self.field}, radar" if self.radar else self.field

    @property
    def figures(self) -> list[float]:
        """All of them, in the order of the table."""
        return [getattr(self, name) for name in FIGURES]


FIGURES = tuple(entry.name for entry in fields(Row) if entry.name.endswith("_pct"))


def run_fields(
    scenario: Scenario, seeds: tuple[int, ...], pool: Executor | None = None,
    tell: Callable[[float], None] = lambda share: None,
    contenders: tuple[str, ...] = (THE_CONTROLLER,),
) -> list[Row]:
    """Drive the scenario in every field, with every seed, by every contender."""
    rows = [(*case, contender) for case in CASES for contender in contenders]
    tasks = [partial(drive_field, replace(scenario, seed=seed), *row)
             for row in rows for seed in seeds]
    figures = run_all(_call, tasks, pool, tell)
    return [_mean(figures[place * len(seeds) : (place + 1) * len(seeds)])
            for place in range(len(rows))]


def _call(task: Callable[[], Row]) -> Row:
    return task()


def drive_field(scenario: Scenario, field: str, radar: bool,
                contender: str = THE_CONTROLLER) -> Row:
    """One drive, judged."""
    events = [Event(RADAR_WORDS, at_s=0.0, faults=RADAR[field])] if radar else []
    scenario = replace(scenario, field=field, events=events + scenario.events)
    record = Twin(scenario, contender=CONTENDERS[contender]).run()
    truth = true_run(record, scenario.section_width_m)
    widths_m = scenario.section_width_m
    ticks = rate_error(truth)
    return Row(
        field, radar, contender,
        **metre_figures(ground_of(truth, truth.asked), widths_m, "metre_"),
        **metre_figures(ground_of(truth, truth.permitted), widths_m, "permitted_"),
        tick_rms_pct=ticks["rate_error_rms_pct"],
        tick_within_5_pct=ticks["distance_within_5_pct"],
        starts_rms_pct=if_given(truth, np.ones(len(truth.time_s))),
        at_once_rms_pct=if_given(truth, sensed_share(record, truth)),
    )


def sensed_share(record: RunRecord, truth: Truth) -> Column:
    """The speed that was known when an interval began over the true one in it."""
    known_m = record["speed_mm_s"][:-1] / 1e3 * np.diff(record["time_s"])
    share: Column = np.divide(known_m, truth.step_m, where=truth.step_m > 0.0,
                              out=np.ones(len(known_m)))
    return share


def if_given(truth: Truth, share: Column) -> float:
    """By the metre, rms, if this share of the rate were given wherever it was permitted."""
    given = np.where(truth.permitted[:, None], truth.section_target_ml * share[:, None],
                     truth.section_volume_ml)
    ground = ground_of(replace(truth, section_volume_ml=given), truth.asked)
    rms_pct: float = metre_figures(ground, truth.section_width_m, "")["rms_pct"]
    return rms_pct


def _mean(rows: list[Row]) -> Row:
    """Over the seeds of one field and contender."""
    means = {}
    for name in FIGURES:
        values = np.array([getattr(row, name) for row in rows], dtype=np.float64)
        square = name.endswith("rms_pct")
        means[name] = float(np.sqrt(np.mean(values**2)) if square else np.mean(values))
    first = rows[0]
    return Row(first.field, first.radar, first.contender, **means)


HEADS = (
    f"{'':<18}{'by metre, from':>20}{'by metre, where':>20}{'by 0.05 s, where':>20}"
    f"{'starts':>9}{'no lag':>9}",
    f"{'':<18}{'the implement down':>20}{'it was permitted':>20}{'it was permitted':>20}"
    f"{'alone':>9}{'':>9}".rstrip(),
    f"{'':<18}" + f"{'rms %':>10}{'within 5':>10}" * 3 + f"{'rms %':>9}" * 2,
)
WIDTHS = (*(10,) * 6, *(9,) * 2)
JUDGED = 6  # figures of the contender itself; the rest are of the field


def fields_text(rows: list[Row]) -> str:
    """The table, ready to print; `within 5` is the share of the ground within 5 %.

    Below a row of the controller comes that of the oracle, and how many times its rms ours is.
    """
    lines = [*HEADS]
    own: list[float] = []
    for row in rows:
        if row.contender == THE_CONTROLLER:
            own = row.figures
            lines.append(_line(row.words, [f"{figure:.2f}" for figure in own]))
            continue
        best = row.figures[:JUDGED]
        lines.append(_line(f"  {row.contender}", [f"{figure:.2f}" for figure in best]))
        lines.append(_line("  ours over it", [
            f"{mine / figure:.2f}" if name.endswith("rms_pct") else ""
            for name, mine, figure in zip(FIGURES, own, best, strict=False)]))
    return "\n".join(lines)


def _line(words: str, figures: list[str]) -> str:
    texts = [f"{text:>{width}}" for text, width in zip(figures, WIDTHS, strict=False)]
    return (f"{words:<18}" + "".join(texts)).rstrip()


def as_json(rows: list[Row], seeds: tuple[int, ...]) -> dict[str, Any]:
    """Everything by name."""
    return {"seeds": list(seeds), "fields": [asdict(row) for row in rows]}
