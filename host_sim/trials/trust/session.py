"""Everything that `make trust` does, its table, and out/trust.json."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

from host_sim.common.progress import progress
from host_sim.trials.trust.breaks import BREAKS
from host_sim.trials.trust.case import STATES, TrustCase, TrustOutcome
from host_sim.trials.trust.clean import Hour, drive_hours
from host_sim.trials.trust.machines import KIND_NAMES
from host_sim.trials.trust.matrix import failures, pairs, row, run_cases, sample, singles

COMMAND = "python -m host_sim.trials.trust"
SEED = 1
HEADINGS = ("fault", "at work", "told", "told within", "off within", "shown")


@dataclass(frozen=True)
class TrustPart:
    """One part of the whole: its figures for the file, a line for the eye, what failed.

    A failure is a command that repeats it, and what was wrong.
    """

    figures: dict[str, Any]
    line: str
    failed: tuple[tuple[str, str], ...] = ()
    table: str = ""


def try_singles(share: float, pool: Executor | None) -> TrustPart:
    """Every fault alone, or a share of the cases."""
    part, outcomes = _try("faults", singles(), share, pool)
    table = _table(outcomes) if share >= 1.0 else ""
    figures = {**part.figures, "faults": [_row_figures(entry.name, outcomes) for entry in BREAKS]}
    return TrustPart(figures if table else part.figures, part.line, part.failed, table)


def try_pairs(share: float, pool: Executor | None) -> TrustPart:
    """Every two faults, or a share of the cases."""
    part, _ = _try("pairs", pairs(), share, pool)
    return part


def _try(name: str, cases: list[TrustCase], share: float, pool: Executor | None
         ) -> tuple[TrustPart, list[TrustOutcome]]:
    chosen = sample(cases, max(round(share * len(cases)), 1), SEED)
    with progress(name) as tell:
        outcomes = run_cases(chosen, pool, tell)
    failed = tuple((f"{COMMAND} --case {outcome.case}", "; ".join(failures(outcome)))
                   for outcome in outcomes if failures(outcome))
    combinations = len({case.names for case in cases})
    figures = {"count": combinations, "states": len(STATES), "machines": len(KIND_NAMES),
               "runs": len(outcomes), "failed": len(failed)}
    line = (f"{name:<8} {combinations} in {len(STATES)} states on {len(KIND_NAMES)} machines: "
            f"{len(outcomes)} runs, {len(failed)} failed")
    return TrustPart(figures, line, failed), outcomes


def try_hours(hours: int, pool: Executor | None) -> TrustPart:
    """Hours of field work in which nothing breaks."""
    with progress("clean hours") as tell:
        days = drive_hours(hours, pool, tell)
    driven = sum(day.hours for day in days)
    alarms = sum(len(day.alarms) for day in days)
    unset = sum(bool(day.failure) for day in days)
    failed = tuple((f"{COMMAND} --clean {day.seed}", _said(day)) for day in days
                   if day.alarms or day.broken)
    figures = {"hours": round(driven, 2), "builds": len(days) - unset, "not_set_up": unset,
               "count": alarms, "per_hour": round(alarms / driven, 4) if driven else None}
    line = f"clean    {driven:.1f} hours of {len(days) - unset} builds: {alarms} false alarms"
    if unset:
        line += f"; {unset} builds could not be set up and did not drive"
    return TrustPart(figures, line, failed)


def _said(day: Hour) -> str:
    return "; ".join([*(f"{name} at {time_s:g} s" for time_s, name in day.alarms), *day.broken])


def other_part(module: str, share: float) -> TrustPart:
    """What a module of this folder adds by its `trust_part(share)`."""
    make: Callable[[float], TrustPart] = importlib.import_module(
        f"host_sim.trials.trust.{module}").trust_part
    return make(share)


def _table(outcomes: list[TrustOutcome]) -> str:
    lines = [HEADINGS] + [_cells(entry.name, outcomes) for entry in BREAKS]
    widths = [max(len(line[column]) for line in lines) for column in range(len(HEADINGS))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)
                               ).rstrip() for line in lines)


def _cells(name: str, outcomes: list[TrustOutcome]) -> tuple[str, ...]:
    each = row(name, outcomes)
    shown = ", ".join(each.shown) or ("stops" if each.noticed else "nothing")
    return (name, str(each.runs), str(each.noticed), _seconds(each.noticed_s),
            _seconds(each.safe_s), shown)


def _row_figures(name: str, outcomes: list[TrustOutcome]) -> dict[str, Any]:
    each = row(name, outcomes)
    return {"name": name, "runs_at_work": each.runs, "told": each.noticed,
            "told_within_s": _rounded(each.noticed_s), "off_within_s": _rounded(each.safe_s),
            "shown": list(each.shown), "unseen_on": list(each.unseen_on)}


def _rounded(time_s: float | None) -> float | None:
    return None if time_s is None else round(time_s, 2)


def _seconds(time_s: float | None) -> str:
    return "-" if time_s is None else f"{time_s:.2f} s"
