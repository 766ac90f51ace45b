"""What the acceptance test must show: each claim checked on what came out, exceptions named."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from host_sim.plant.spec import PWM_PUMP
from host_sim.trials.acceptance.contenders import (
    BASELINES,
    DYNAMIC_ORACLE,
    ORACLE,
    SECTIONS_UNANNOUNCED,
    THE_CONTROLLER,
)
from host_sim.trials.acceptance.judge import JudgedRow
from host_sim.trials.acceptance.sequence import OFF, ON, STEPS
from host_sim.trials.acceptance.trial import Trial
from host_sim.trials.tuning.loop import GAIN_MARGIN_LEAST, PHASE_MARGIN_LEAST_DEG, margins_of

PUMP_STEP_S, VALVE_STEP_S, SECTION_OFF_S = 1.0, 3.0, 0.5
SPREAD_PCT, DRIFT_PCT = 1.0, 5.0
ORACLE_RATIO, DYNAMIC_RATIO = 1.3, 1.2
TRACE_RMS_PCT, TRACE_OUTSIDE_PCT = 1.5, 1.0

Trace = dict[str, dict[str, float]]  # figures of the recorded drive by contender


class ClaimCase(NamedTuple):
    """One figure, which must not exceed its limit, in words."""

    figure: float
    limit: float
    words: str


@dataclass(frozen=True)
class Claim:
    """Whether it holds, the case that comes closest to its limit, and those beyond."""

    words: str
    holds: bool
    closest: str
    exceptions: list[str]


def check_claims(trials: list[Trial], trace: Trace) -> list[Claim]:
    """Every claim about which there is something to say, in order."""
    found = [(words, [case for trial in trials for case in cases(trial)])
             for words, cases in OF_MACHINES]
    if THE_CONTROLLER in trace:
        found += [(words, list(cases(trace[THE_CONTROLLER]))) for words, cases in OF_TRACE]
    return [_claim(words, cases) for words, cases in found if cases]


def _claim(words: str, cases: list[ClaimCase]) -> Claim:
    closest = max(cases, key=lambda case: case.figure / case.limit)
    exceptions = [case.words for case in cases if case.figure > case.limit]
    return Claim(words, not exceptions, closest.words, exceptions)


def _rows(trial: Trial, contender: str = THE_CONTROLLER) -> dict[str, JudgedRow]:
    return trial.driven[contender].rows


def _pump_steps(trial: Trial) -> Iterator[ClaimCase]:
    if trial.actuator == PWM_PUMP:
        yield _settled(trial, STEPS, PUMP_STEP_S)


def _valve_steps(trial: Trial) -> Iterator[ClaimCase]:
    if trial.actuator != PWM_PUMP:
        yield _settled(trial, STEPS, VALVE_STEP_S)


def _sections_off(trial: Trial) -> Iterator[ClaimCase]:
    if trial.actuator == PWM_PUMP:
        yield _settled(trial, OFF, SECTION_OFF_S)


def _settled(trial: Trial, part: str, limit_s: float) -> ClaimCase:
    settled_s = _rows(trial)[part].settle_5_s
    return ClaimCase(settled_s, limit_s, f"{trial.machine} {settled_s:.2f} s")


def _cv(trial: Trial) -> Iterator[ClaimCase]:
    for spread in trial.driven[THE_CONTROLLER].spreads:
        yield ClaimCase(spread.cv_pct, SPREAD_PCT,
                        f"{trial.machine}, {spread.level} L/ha: {spread.cv_pct:.2f} %")


def _mean_deviation(trial: Trial) -> Iterator[ClaimCase]:
    for spread in trial.driven[THE_CONTROLLER].spreads:
        yield ClaimCase(abs(spread.mean_deviation_pct), SPREAD_PCT,
                        f"{trial.machine}, {spread.level} L/ha: {spread.mean_deviation_pct:+.2f} %")


def _oracle_in_all(trial: Trial) -> Iterator[ClaimCase]:
    yield from _all_together(trial, ORACLE, ORACLE_RATIO)


def _dynamic_in_all(trial: Trial) -> Iterator[ClaimCase]:
    yield from _all_together(trial, DYNAMIC_ORACLE, DYNAMIC_RATIO)


def _all_together(trial: Trial, oracle: str, limit: float) -> Iterator[ClaimCase]:
    if oracle in trial.driven:
        own, best = (sum(row.wrong_l for row in _rows(trial, name).values())
                     for name in (THE_CONTROLLER, oracle))
        yield ClaimCase(own / best, limit, f"{trial.machine} {own / best:.2f}")


def _oracle_each(trial: Trial) -> Iterator[ClaimCase]:
    if ORACLE in trial.driven:
        for part, row in _rows(trial).items():
            ratio = row.wrong_l / _rows(trial, ORACLE)[part].wrong_l
            yield ClaimCase(ratio, ORACLE_RATIO, f"{trial.machine}, {part}: {ratio:.2f}")


def _baselines(trial: Trial) -> Iterator[ClaimCase]:
    """Without a change of sections, sections unannounced is the controller itself."""
    for name in BASELINES:
        for part, row in _rows(trial, name).items() if name in trial.driven else ():
            if name == SECTIONS_UNANNOUNCED and part not in (OFF, ON):
                continue
            ratio = _rows(trial)[part].wrong_l / row.wrong_l
            yield ClaimCase(ratio, 1.0, f"{trial.machine}, {part}: {ratio:.2f} x {name}")


def _drift(trial: Trial) -> Iterator[ClaimCase]:
    for drifted in trial.drifted:
        if not drifted.warnings:
            error_pct = drifted.steady_pct
            yield ClaimCase(abs(error_pct), DRIFT_PCT,
                            f"{trial.machine}, {drifted.words}: {error_pct:+.1f} %")


def _gain_margin(trial: Trial) -> Iterator[ClaimCase]:
    gain = margins_of(trial.settings).gain
    yield ClaimCase(GAIN_MARGIN_LEAST / gain, 1.0, f"{trial.machine} {gain:.1f}")


def _phase_margin(trial: Trial) -> Iterator[ClaimCase]:
    phase_deg = margins_of(trial.settings).phase_deg
    yield ClaimCase(PHASE_MARGIN_LEAST_DEG / phase_deg, 1.0,
                    f"{trial.machine} {phase_deg:.0f} degrees")


def _trace_rms(figures: dict[str, float]) -> Iterator[ClaimCase]:
    rms_pct = figures["rate_error_rms_pct"]
    yield ClaimCase(rms_pct, TRACE_RMS_PCT, f"{rms_pct:.2f} %")


def _trace_within(figures: dict[str, float]) -> Iterator[ClaimCase]:
    within_pct = figures["distance_within_5_pct"]
    yield ClaimCase(100.0 - within_pct, TRACE_OUTSIDE_PCT, f"{within_pct:.2f} %")


OF_MACHINES: tuple[tuple[str, Callable[[Trial], Iterator[ClaimCase]]], ...] = (
    ("PWM pumps: within 5 % in 1.0 s after a speed step", _pump_steps),
    ("regulating valves, 4 s of travel: within 5 % in 3.0 s after a speed step", _valve_steps),
    ("PWM pumps: other sections within 5 % in 0.5 s after a section goes off", _sections_off),
    ("coefficient of variation at most 1 %, n = 7", _cv),
    ("mean deviation at most 1 %", _mean_deviation),
    ("in the wrong place at most 1.3 x the oracle's, all changes together", _oracle_in_all),
    ("in the wrong place at most 1.3 x the oracle's, each kind of change", _oracle_each),
    ("in the wrong place at most 1.2 x the dynamic oracle's, all changes together",
     _dynamic_in_all),
    ("less in the wrong place than every baseline, each kind of change", _baselines),
    ("after each drift: steady error at most 5 % from 20 s on, or a warning", _drift),
    ("gain margin at least 2", _gain_margin),
    ("phase margin at least 45 degrees", _phase_margin),
)
OF_TRACE: tuple[tuple[str, Callable[[dict[str, float]], Iterator[ClaimCase]]], ...] = (
    ("recorded drive: rate error at most 1.5 % rms", _trace_rms),
    ("recorded drive: within 5 % on at least 99 % of the distance", _trace_within),
)
