"""One machine through the whole test: commissioned, then driven by every contender in turn.

And the recorded drive of the demonstration, on the machine and with the settings it comes with.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from host_sim.machine_file.choice import chosen
from host_sim.runs.record import Column
from host_sim.runs.summary import rate_error
from host_sim.runs.truth import Truth, true_run
from host_sim.trials.acceptance import sequence
from host_sim.trials.acceptance.contenders import CONTENDERS, DYNAMIC_ORACLE
from host_sim.trials.acceptance.judge import (
    JudgedRow,
    RepeatSpread,
    judge,
    span_of,
    spreads,
    steady_error,
)
from host_sim.trials.acceptance.sequence import REPEATS, Sequence
from host_sim.trials.commissioning.commission import commission
from host_sim.trials.drift import AS_TUNED, DRIFTS, Drift
from host_sim.twin.disturbances import CALM
from host_sim.twin.scenario import DEMO, Scenario, load_scenario
from host_sim.twin.twin import Contender, Twin
from rate_control import faults
from rate_control.settings import Settings

DRIFTED_FROM_S = 20.0  # a valve's start is learned anew in the first seconds
GROUND_NOISE_M_S = 0.02  # the ground is not even

TRACE_FIGURES = ("rate_error_rms_pct", "distance_within_5_pct", "distance_within_10_pct")

Tell = Callable[[float], None]


@dataclass(frozen=True)
class DrivenSequence:
    """What came of one contender: a row for each kind of change, a spread for each rate.

    `wanted` and `applied` are the rates during the changes, L/ha, a value a tick.
    """

    rows: dict[str, JudgedRow]
    spreads: list[RepeatSpread]
    time_s: Column
    wanted: Column
    applied: Column


@dataclass(frozen=True)
class Drifted:
    """What came of the changes, driven by the controller after a drift, nothing learned anew.

    Worst and sum over all of them; steady_pct is the largest steady error of the stages that end
    later than DRIFTED_FROM_S. warnings are names of all faults and warnings that were shown.
    """

    words: str
    settle_5_s: float
    over_l: float
    under_l: float
    steady_pct: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Trial:
    """What came of one machine, by contender, and of the controller after each drift."""

    machine: str
    actuator: str  # as in plant/spec.py
    settings: Settings
    sequence: Sequence  # the changes
    driven: dict[str, DrivenSequence]
    drifted: tuple[Drifted, ...] = ()


def try_machine(
    machine: str,
    seed: int = 1,
    repeats: int = REPEATS,
    contenders: tuple[str, ...] = tuple(CONTENDERS),
    tell: Tell = lambda share: None,
    field: str = CALM,
    drifts: tuple[Drift, ...] = (AS_TUNED, *DRIFTS),
) -> Trial:
    """Commission a kind of machine, or that of a machine file, and test it.

    Raises BenchError where a procedure fails.
    """
    name, even, entered, _ = chosen(machine)
    uneven = even.override(ground={"noise_m_s": GROUND_NOISE_M_S})
    settings = commission(uneven, seed, entered=entered).settings
    changes = sequence.changes(settings)
    again = sequence.repeats(settings, repeats)
    smooth = replace(changes.scenario(name, even, settings, seed), field=field)
    rough = replace(again.scenario(name, uneven, settings, seed), field=field)
    driven = {}
    for index, contender in enumerate(contenders):
        tell(index / len(contenders))
        truth = _drive(smooth, CONTENDERS[contender])
        # looking ahead takes long, and how its rates spread says nothing about the machine
        spread = ([] if contender == DYNAMIC_ORACLE
                  else spreads(again, _drive(rough, CONTENDERS[contender])))
        driven[contender] = DrivenSequence(judge(changes, truth), spread, truth.time_s,
                                           *rates_of(truth))
    drifted = tuple(_after(drift, changes, smooth) for drift in drifts if drift.fits(even))
    return Trial(name, even.actuator, settings, changes, driven, drifted)


def _after(drift: Drift, changes: Sequence, scenario: Scenario) -> Drifted:
    """The controller drives a machine that has drifted."""
    record = Twin(drift.befall(scenario)).run()
    truth = true_run(record, scenario.section_width_m)
    rows = judge(changes, truth).values()
    shown = int(np.bitwise_or.reduce(record["faults"].astype(int)))
    return Drifted(
        drift.words, max(row.settle_5_s for row in rows), sum(row.over_l for row in rows),
        sum(row.under_l for row in rows),
        100 * max((steady_error(truth, span_of(truth, stage)) for stage in changes.stages
                   if stage.end_s > DRIFTED_FROM_S), key=abs),
        tuple(faults.names(shown)))


def recorded_drive(contender: str, field: str = CALM) -> dict[str, float]:
    """The rate error on the demonstration's recorded drive in a field, as in summary.json."""
    truth = _drive(load_scenario(DEMO, field=field), CONTENDERS[contender])
    figures = rate_error(truth)
    return {name: figures[name] for name in TRACE_FIGURES}


def _drive(scenario: Scenario, contender: Contender) -> Truth:
    record = Twin(scenario, contender=contender).run()
    return true_run(record, scenario.section_width_m)


def rates_of(truth: Truth) -> tuple[Column, Column]:
    """Wanted and applied rate of the sections that are on; gaps where nothing is wanted."""
    widths = (truth.section_on * truth.section_width_m).sum(axis=1)
    area_ha = widths * truth.step_m / 1e4
    volume_l = (truth.section_volume_ml * truth.section_on).sum(axis=1) / 1e3
    blank = np.full(len(area_ha), np.nan)
    applied = np.divide(volume_l, area_ha, where=truth.judged, out=blank.copy())
    wanted = np.divide(truth.target_ml / 1e3, area_ha, where=truth.judged, out=blank)
    return wanted, applied
