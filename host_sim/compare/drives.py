"""What is driven in a tree: `python -m host_sim.compare.drives OUT BESIDE REPEATS MACHINE ...`

Puts each machine through the acceptance sequence by this tree's controller, and the recorded
drive; judges it beside the baselines and the oracle of BESIDE, what this left for our tree, or,
where BESIDE is `-`, drives them as well. Prints a line for each step and writes OUT, JSON.
"""

from __future__ import annotations

import json
import sys
import traceback
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from host_sim.trials.acceptance import sequence
from host_sim.trials.acceptance.claims import check_claims
from host_sim.trials.acceptance.contenders import CONTENDERS, THE_CONTROLLER
from host_sim.trials.acceptance.judge import JudgedRow, RepeatSpread
from host_sim.trials.acceptance.trial import (
    DrivenSequence,
    Trial,
    recorded_drive,
    try_machine,
)
from rate_control.controller import Controller
from rate_control.records import Inputs, Outputs

Driven = dict[str, Any]


def main(arguments: list[str]) -> int:
    """Drive everything; what fails of one machine leaves the others."""
    out, beside, repeats, *machines = arguments
    ours = None if beside == "-" else json.loads(Path(beside).read_text(encoding="utf-8"))
    names = (THE_CONTROLLER,) if ours else tuple(CONTENDERS)
    found: dict[str, Any] = {"machines": {}, "failed": {}, "trace": {}, "claims": []}
    trials = []
    watch_ticks()
    for machine in machines:
        print(machine, flush=True)
        try:
            trial = try_machine(machine, repeats=int(repeats), contenders=names, drifts=(),
                                tell=lambda share: print(".", flush=True))
        except (Exception, TickRaised) as error:  # a variant may raise whatever it likes
            found["failed"][machine] = in_a_line(error)
            continue
        own = {name: _as_json(driven) for name, driven in trial.driven.items()}
        others = ours["machines"].get(machine, {}) if ours else {}
        found["machines"][machine] = {**others, **own}
        trials.append(_beside(trial, {**others, **own}))
    print("recorded drive", flush=True)
    try:
        found["trace"] = recorded_drive(THE_CONTROLLER)
    except (Exception, TickRaised) as error:
        found["failed"]["recorded drive"] = in_a_line(error)
    if None in found["trace"].values():
        found["failed"]["recorded drive"], found["trace"] = "nothing was applied", {}
    trace = {THE_CONTROLLER: found["trace"]} if found["trace"] else {}
    found["claims"] = [asdict(claim) for claim in check_claims(trials, trace)]
    Path(out).write_text(json.dumps(found), encoding="utf-8")
    return 0


class TickRaised(BaseException):
    """A tick raised something. The application would stop the machine and go on; this ends it."""


def watch_ticks() -> None:
    """Let the first tick that raises end the drive: what follows would say nothing more."""
    step = Controller.step

    def watched(self: Controller, inputs: Inputs, now_us: int) -> Outputs:
        try:
            return step(self, inputs, now_us)
        except Exception as error:
            raise TickRaised from error

    setattr(Controller, "step", watched)  # noqa: B010  (a method, to the type checker)


def in_a_line(error: BaseException) -> str:
    """What was raised, and the line of firmware that raised it."""
    error = error.__cause__ if isinstance(error, TickRaised) and error.__cause__ else error
    frames = traceback.extract_tb(error.__traceback__)
    inside = [frame for frame in frames if "/firmware/" in Path(frame.filename).as_posix()]
    place = f" ({Path(inside[-1].filename).name}:{inside[-1].lineno})" if inside else ""
    text = " ".join(str(error).split())[:200]
    return f"{type(error).__name__}: {text}{place}" if text else f"{type(error).__name__}{place}"


def _as_json(driven: DrivenSequence) -> Driven:
    return {"rows": {part: asdict(row) for part, row in driven.rows.items()},
            "spreads": [asdict(spread) for spread in driven.spreads]}


def _beside(trial: Trial, driven: dict[str, Driven]) -> Trial:
    """The trial with contenders that were driven elsewhere."""
    none = np.zeros(0)
    contenders = {name: DrivenSequence(
        {part: JudgedRow(**row) for part, row in one["rows"].items()},
        [RepeatSpread(**spread) for spread in one["spreads"]], none, none, none)
        for name, one in driven.items()}
    return Trial(trial.machine, trial.actuator, trial.settings,
                 sequence.changes(trial.settings), contenders)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
