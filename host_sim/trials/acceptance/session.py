"""The whole acceptance test: every machine and the recorded drive, then the claims."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from host_sim.common.parallel import run_all
from host_sim.common.versions import versions
from host_sim.plant.catalogue import KINDS
from host_sim.trials.acceptance.claims import Claim, Trace, check_claims
from host_sim.trials.acceptance.contenders import CONTENDERS, DYNAMIC_ORACLE
from host_sim.trials.acceptance.sequence import REPEATS
from host_sim.trials.acceptance.trial import Trial, recorded_drive, try_machine
from host_sim.trials.tuning.loop import margins_of
from host_sim.twin.disturbances import CALM

Task = Callable[[], Any]


@dataclass(frozen=True)
class AcceptanceOutcome:
    """What the acceptance test gave."""

    trials: list[Trial]
    trace: Trace
    claims: list[Claim]


def run_acceptance(
    machines: Sequence[str] = tuple(KINDS),
    repeats: int = REPEATS,
    seed: int = 1,
    trace: bool = True,
    pool: Executor | None = None,
    tell: Callable[[float], None] = lambda share: None,
    field: str = CALM,
    contenders: tuple[str, ...] = tuple(CONTENDERS),
) -> AcceptanceOutcome:
    """Test the machines. Raises BenchError where a procedure fails on one.

    The dynamic oracle does not drive the recorded drive, where something changes in every tick:
    it would take as long as all the rest.
    """
    tasks: list[Task] = [partial(try_machine, name, seed, repeats, contenders, field=field)
                         for name in machines]
    names = tuple(name for name in contenders if trace and name != DYNAMIC_ORACLE)
    tasks += [partial(recorded_drive, name, field) for name in names]
    results = run_all(_call, tasks, pool, tell)
    trials, figures = results[: len(machines)], results[len(machines) :]
    driven = dict(zip(names, figures, strict=True))
    return AcceptanceOutcome(trials, driven, check_claims(trials, driven))


def _call(task: Task) -> Any:
    return task()


def as_json(outcome: AcceptanceOutcome) -> dict[str, Any]:
    """All figures by name, JSON-able; names end in their unit."""
    return {
        "machines": {trial.machine: _trial_json(trial) for trial in outcome.trials},
        "recorded_drive": outcome.trace,
        "claims": [asdict(claim) for claim in outcome.claims],
        "versions": versions(),
    }


def _trial_json(trial: Trial) -> dict[str, Any]:
    found = margins_of(trial.settings)
    return {
        "unit_rate_l_ha": trial.sequence.unit_l_ha,
        "settings": trial.settings.as_dict(),
        "gain_margin": found.gain,
        "phase_margin_deg": found.phase_deg,
        "contenders": {
            name: {
                "changes": {part: asdict(row) for part, row in driven.rows.items()},
                "spreads": [asdict(spread) for spread in driven.spreads],
            }
            for name, driven in trial.driven.items()
        },
        "drifted": [asdict(drifted) for drifted in trial.drifted],
    }
