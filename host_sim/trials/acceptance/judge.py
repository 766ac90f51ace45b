"""What came of a test sequence: settling, overshoot, spread and litres in the wrong place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host_sim.runs.record import Column
from host_sim.runs.truth import Truth
from host_sim.trials.acceptance.sequence import Sequence, Stage
from rate_control.units import TICK_MS

TICK_S = TICK_MS / 1000
BAND, WIDE_BAND = 0.05, 0.10
STEADY_S = 3.0  # at the end of a stage: what it has settled to


@dataclass(frozen=True)
class JudgedRow:
    """One kind of change: the worst stage for times and peaks, the sum for volumes.

    Times are from the complete change to the last moment out of the band; a stage that never
    settles counts with its whole length. `overshoot_pct` is how far the rate went beyond the
    wanted one after the first excursion.
    """

    settle_10_s: float
    settle_5_s: float
    overshoot_pct: float
    over_l: float
    under_l: float

    @property
    def wrong_l(self) -> float:
        """Litres in the wrong place: applied too much plus applied too little."""
        return self.over_l + self.under_l


@dataclass(frozen=True)
class RepeatSpread:
    """Of one rate over its repeats (ISO 5682-3, clause 6): CV = 100 s / mean with n - 1 in s,
    mean deviation = 100 (mean - nominal) / nominal; in percent.
    """

    level: str
    count: int
    cv_pct: float
    mean_deviation_pct: float


def judge(sequence: Sequence, truth: Truth) -> dict[str, JudgedRow]:
    """A row for each part, by name, in the order of the sequence."""
    return {
        part: _row([stage for stage in sequence.stages if stage.part == part], truth)
        for part in dict.fromkeys(stage.part for stage in sequence.stages)
    }


def _row(stages: list[Stage], truth: Truth) -> JudgedRow:
    spans = [span_of(truth, stage) for stage in stages]
    errors = [rate_error(truth, span) for span in spans]
    wrong = [wrong_ml(truth, span) for span in spans]
    changed = [round((stage.changed_s - stage.start_s) / TICK_S) for stage in stages]
    pairs = list(zip(errors, changed, strict=True))
    return JudgedRow(
        settle_10_s=max(settling_s(error, WIDE_BAND, tick) for error, tick in pairs),
        settle_5_s=max(settling_s(error, BAND, tick) for error, tick in pairs),
        overshoot_pct=100 * max(overshoot(error) for error in errors),
        over_l=sum(over for over, _ in wrong) / 1e3,
        under_l=sum(under for _, under in wrong) / 1e3,
    )


def spreads(sequence: Sequence, truth: Truth) -> list[RepeatSpread]:
    """Of each rate of the sequence, from the last seconds of every stage."""
    steady = round(STEADY_S / TICK_S)
    levels: dict[str, list[float]] = {}
    for stage in sequence.stages:
        error = rate_error(truth, span_of(truth, stage))
        levels.setdefault(stage.level, []).append(1.0 + float(error[-steady:].mean()))
    return [  # where nothing came, each time, the rates are alike
        RepeatSpread(level, len(rates),
                     float(100 * np.std(rates, ddof=1) / np.mean(rates)) if any(rates) else 0.0,
                     float(100 * (np.mean(rates) - 1.0)))
        for level, rates in levels.items()
    ]


def span_of(truth: Truth, stage: Stage) -> slice:
    """The intervals of a stage."""
    first, last = np.searchsorted(truth.time_s, (stage.start_s - 1e-6, stage.end_s - 1e-6))
    return slice(int(first), int(last))


def rate_error(truth: Truth, span: slice) -> Column:
    """Applied over wanted less 1, of the sections that are switched on."""
    on = truth.section_on[span]
    volume = (truth.section_volume_ml[span] * on).sum(axis=1)
    target = truth.section_target_ml[span].sum(axis=1)
    error: Column = volume / target - 1.0
    return error


def steady_error(truth: Truth, span: slice) -> float:
    """The mean error of the last seconds of an interval."""
    return float(rate_error(truth, span)[-round(STEADY_S / TICK_S):].mean())


def wrong_ml(truth: Truth, span: slice) -> tuple[float, float]:
    """Volume applied too much and too little; what a section that is off lets out is too much."""
    on = truth.section_on[span]
    volume = truth.section_volume_ml[span]
    missed = (volume * on).sum(axis=1) - truth.section_target_ml[span].sum(axis=1)
    spilt = float((volume * ~on).sum())
    return float(np.maximum(missed, 0.0).sum()) + spilt, float(np.maximum(-missed, 0.0).sum())


def settling_s(error: Column, band: float, from_tick: int = 0) -> float:
    """Time from a tick until the error stays within the band."""
    out = np.flatnonzero(np.abs(error) > band)
    return max(int(out[-1]) + 1 - from_tick, 0) * TICK_S if len(out) else 0.0


def overshoot(error: Column) -> float:
    """The largest error beyond the target after the first excursion out of the band.

    Without an excursion it is the largest error of either sign.
    """
    out = np.flatnonzero(np.abs(error) > BAND)
    if not len(out):
        return float(np.abs(error).max())
    side = np.sign(error[out[0]])
    return max(float((-side * error[out[0]:]).max()), 0.0)
