"""Mutation testing of what keeps the outputs safe: does a shared test notice every small fault?

A survivor is a fault that no test notices. It is killed by a test, or argued in
mutants_argued.py. Works in a checkout alone, where the tests are.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim import FIRMWARE_DIR
from host_sim.common.errors import InputError
from host_sim.common.output import check_target, write_files
from host_sim.common.progress import progress
from host_sim.trials.trust.mutant_runs import SHARED, measured_tests, run_mutants
from host_sim.trials.trust.mutants_argued import ARGUED, WHATEVER
from host_sim.trials.trust.mutate import Mutant, mutants
from host_sim.trials.trust.session import TrustPart

COMMAND = "python -m host_sim.trials.trust.mutants"
EXIT_BAD_INPUT = 2
# What decides whether something moves; of some modules the functions that do.
MUTATED: dict[str, tuple[str, ...]] = {
    "rate_control.interlock": (),
    "rate_control.permits": (),
    "rate_control.last_gate": (),
    "rate_control.faults": (),
    "rate_control.plausibility": (),
    "rate_control.flow_watch": (),
    "rate_control.switch_watch": (),
    "rate_control.section_watch": (),
    "rate_control.debounce": (),
    "rate_control.ground_speed": (),
    "rate_control.reported_speed": (),
    "rate_control.believable": (),
    "rate_control.pulse_counter": (),
    "rate_control.controller": (),
    "rate_control.records": ("Decided.rest", "Outputs.make_safe"),
    "rate_control.procedures.procedure": (
        "Procedure.__init__", "Procedure.stop", "Procedure.finish", "Procedure.act"),
}
EPILOG = f"""\
Exit status: 0 if every mutant is killed or argued, 1 if not, 2 for bad input.

examples:
  {COMMAND} --json out/mutants.json
  {COMMAND} --sample 40 --seed 7
  {COMMAND} --only rate_control.last_gate.gate
"""


@dataclass(frozen=True)
class MutantResult:
    """What became of the mutants that were tried."""

    tried: list[Mutant]
    killers: list[str]
    stale: list[str]  # arguments that no longer hold

    @property
    def survivors(self) -> list[Mutant]:
        """Mutants that no test noticed, argued or not."""
        return [mutant for mutant, killer in zip(self.tried, self.killers, strict=True)
                if not killer]

    @property
    def unargued(self) -> list[Mutant]:
        """Survivors without an argument."""
        return [mutant for mutant in self.survivors if not is_argued(mutant)]

    @property
    def failed(self) -> bool:
        """Whether there is anything to do."""
        return bool(self.unargued or self.stale)

    def counts(self, module: str = "") -> dict[str, int]:
        """How many of a module, or of all, were tried, killed, argued, and survived."""
        def of(mutants: list[Mutant]) -> int:
            return sum(mutant.module == module or not module for mutant in mutants)

        count, survivors, unargued = of(self.tried), of(self.survivors), of(self.unargued)
        return {"count": count, "killed": count - survivors,
                "argued": survivors - unargued, "survived": unargued}

    def modules(self) -> dict[str, dict[str, int]]:
        """The counts of each module."""
        return {module: self.counts(module) for module in MUTATED
                if any(mutant.module == module for mutant in self.tried)}

    def table(self) -> str:
        """The modules, for the eye."""
        return "\n".join([f"{'':36} mutants  killed  argued  survived"] + [
            f"{module:36} {of['count']:7} {of['killed']:7} {of['argued']:7} {of['survived']:9}"
            for module, of in self.modules().items()])

    def line(self) -> str:
        """The figures, for the eye."""
        of = self.counts()
        return (f"mutants  {of['count']}: {of['killed']} killed, {of['argued']} argued, "
                f"{of['survived']} survived")

    def figures(self) -> dict[str, Any]:
        """The figures, for a file."""
        return {**self.counts(), "modules": self.modules(),
                "survivors": [told(mutant) for mutant in self.unargued], "stale": self.stale}


def main(argv: list[str] | None = None) -> int:
    """Run one command line; returns the exit status."""
    args = _parser().parse_args(argv)
    try:
        if args.json:
            check_target(args.json)
        result = try_mutants(chosen(args.only, args.sample, args.seed), args.workers)
        for mutant in result.unargued:
            print(told(mutant))
        for line in result.stale:
            print(line)
        print(result.table())
        print(result.line())
        if args.json:
            text = json.dumps(result.figures(), indent=1) + "\n"
            print(write_files(args.json.parent, {args.json.name: text})[0])
    except InputError as error:
        print(f"{COMMAND}: {error}", file=sys.stderr)
        return EXIT_BAD_INPUT
    return 1 if result.failed else 0


def trust_part(share: float) -> TrustPart:
    """The mutants as a part of `make trust`, or a share of them."""
    every = chosen("", None, 0)
    result = try_mutants(every if share >= 1.0 else chosen("", round(share * len(every)) or 1, 1),
                         os.cpu_count() or 1)
    failed = [(f"{COMMAND} --only {mutant.key[0]}", told(mutant)) for mutant in result.unargued]
    failed += [(COMMAND, line) for line in result.stale]
    return TrustPart(result.figures(), result.line(), tuple(failed))


def every_mutant(modules: dict[str, tuple[str, ...]]) -> list[Mutant]:
    """All mutants of these modules."""
    found: list[Mutant] = []
    for module, functions in modules.items():
        source = (FIRMWARE_DIR / (module.replace(".", "/") + ".py")).read_text()
        found += mutants(module, source, functions)
    return found


def chosen(only: str, sample: int | None, seed: int) -> list[Mutant]:
    """The mutants of a place, or a sample of all; raises InputError for a place without any."""
    found = [mutant for mutant in every_mutant(MUTATED)
             if f"{mutant.key[0]}.".startswith(f"{only}." if only else "")]
    if not found:
        raise InputError(f"--only {only}: no such place among {', '.join(MUTATED)}")
    if sample is None or sample >= len(found):
        return found
    picked = sorted(random.Random(seed).sample(range(len(found)), sample))
    return [found[index] for index in picked]


def try_mutants(tried: Sequence[Mutant], workers: int) -> MutantResult:
    """Run the shared tests on each; raises InputError where there are none to run."""
    if not SHARED.is_dir():
        raise InputError(f"{SHARED}: is not here: mutants need a checkout")
    with progress("mutants") as tell:
        killers = run_mutants(tried, measured_tests(), workers, tell)
    return MutantResult(list(tried), killers, stale_arguments(tried, killers))


def is_argued(mutant: Mutant) -> bool:
    """Whether a row of the arguments is about this mutant."""
    return any(_is_about(row, mutant) for row in ARGUED)


def stale_arguments(tried: Sequence[Mutant], killers: Sequence[str]) -> list[str]:
    """Arguments for what is not there any more, or for what a test kills by now."""
    existing = every_mutant(MUTATED)
    stale = []
    for row in ARGUED:
        place, before, after, _ = row
        about = sum(_is_about(row, mutant) for mutant in existing)
        deaths = [killer for mutant, killer in zip(tried, killers, strict=True)
                  if _is_about(row, mutant)]
        if not about:
            stale.append(f"argued, but there is no such mutant: {place}: {before} => {after}")
        elif len(deaths) == about and all(deaths):
            stale.append(f"argued, but killed by {deaths[0]}: {place}: {before} => {after}")
    return stale


def _is_about(row: tuple[str, str, str, str], mutant: Mutant) -> bool:
    place, before, after = mutant.key
    return row[:2] == (place, before) and row[2] in (after, WHATEVER)


def told(mutant: Mutant) -> str:
    """A mutant in a line: where it is, what it changes."""
    path = FIRMWARE_DIR.name + "/" + mutant.module.replace(".", "/") + ".py"
    return f"{path}:{mutant.line}: {mutant.function}: {mutant.before} => {mutant.after}"


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__, epilog=EPILOG,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", metavar="PLACE",
                        help="mutants of this module, class or function")
    parser.add_argument("--sample", type=_positive, metavar="N", help="try N of them, drawn")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="of the draw (default 1)")
    parser.add_argument("--workers", type=_positive, default=os.cpu_count() or 1, metavar="W",
                        help="processes at a time (default: one a core)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures here")
    return parser


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"must be at least 1, got {text}")
    return number


if __name__ == "__main__":
    sys.exit(main())
