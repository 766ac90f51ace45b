"""The matrix: every fault and every pair of faults, in every state, on every kind of machine."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from itertools import combinations
from random import Random

from host_sim.common.parallel import run_all
from host_sim.trials.trust.breaks import BREAKS, BY_NAME
from host_sim.trials.trust.case import STATES, TrustCase, TrustOutcome, run_case
from host_sim.trials.trust.machines import KIND_NAMES, ready

BATCH = 24  # cases a process takes at a time: they share the machine brought into its state


def singles(machines: Sequence[str] = KIND_NAMES, states: Sequence[str] = tuple(STATES)
            ) -> list[TrustCase]:
    """Every fault alone, where it can happen."""
    return [TrustCase((entry.name,), state, machine) for machine in machines for state in states
            for entry in BREAKS if ready(machine).takes(entry)]


def pairs(machines: Sequence[str] = KIND_NAMES, states: Sequence[str] = tuple(STATES)
          ) -> list[TrustCase]:
    """Every two faults together, the first in the catalogue striking first."""
    return [TrustCase((one.name, two.name), state, machine)
            for machine in machines for state in states
            for one, two in combinations(BREAKS, 2)
            if ready(machine).takes(one) and ready(machine).takes(two)]


def sample(cases: list[TrustCase], count: int, seed: int) -> list[TrustCase]:
    """Some of them, in their order; the same ones for the same seed."""
    chosen = sorted(Random(seed).sample(range(len(cases)), min(count, len(cases))))
    return [cases[index] for index in chosen]


def run_cases(cases: list[TrustCase], pool: Executor | None, tell: Callable[[float], None]
              ) -> list[TrustOutcome]:
    """The outcomes in the order of the cases."""
    batches = [cases[start : start + BATCH] for start in range(0, len(cases), BATCH)]
    return [outcome for batch in run_all(_run_batch, batches, pool, tell) for outcome in batch]


def _run_batch(cases: list[TrustCase]) -> list[TrustOutcome]:
    gc.freeze()  # every start of the firmware collects garbage: not all of the twin's, please
    return [run_case(case) for case in cases]


def failures(outcome: TrustOutcome) -> list[str]:
    """What is wrong with an outcome: broken promises, and a fault alone that stayed unnoticed."""
    wrong = list(outcome.broken)
    if len(outcome.case.names) == 1 and outcome.case.state == "applying":
        within_s = BY_NAME[outcome.case.names[0]].noticed_within_s
        if within_s is not None:
            if outcome.noticed_s is None:
                wrong.append("nobody was told")
            elif outcome.noticed_s > within_s:
                wrong.append(f"told after {outcome.noticed_s:.2f} s, not {within_s:g}")
    return wrong


@dataclass(frozen=True)
class MatrixRow:
    """What became of one fault over machines and states.

    `noticed` of `runs` runs at work were; the slowest took `noticed_s`. `safe_s` is the slowest
    of those in which the controller itself switched the outputs off.
    """

    name: str
    runs: int
    noticed: int
    noticed_s: float | None
    safe_s: float | None
    shown: tuple[str, ...]
    unseen_on: tuple[str, ...]
    runs_on_on: tuple[str, ...]
    rolls_on: bool


def row(name: str, outcomes: list[TrustOutcome]) -> MatrixRow:
    """The row of a fault, from the runs in which it struck alone."""
    mine = [outcome for outcome in outcomes if outcome.case.names == (name,)]
    work = [outcome for outcome in mine if outcome.case.state == "applying"]
    times = [outcome.noticed_s for outcome in work if outcome.noticed_s is not None]
    safe = [outcome.safe_s for outcome in work if outcome.safe_s is not None]
    shown = dict.fromkeys(word for outcome in work for word in outcome.shown)
    return MatrixRow(
        name, len(work), len(times), max(times, default=None), max(safe, default=None),
        tuple(shown),
        _machines(outcome for outcome in work if outcome.noticed_s is None),
        _machines(outcome for outcome in mine if outcome.runs_on),
        any(outcome.rolls_on for outcome in mine),
    )


def _machines(outcomes: Iterable[TrustOutcome]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(outcome.case.machine for outcome in outcomes))
