"""`python -m host_sim overlap`: what overlap costs, by hand and with covered ground held shut."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "tell what overlap costs on a field with two headlands, by hand and held by position"

EPILOG = """\
examples:
  python -m host_sim overlap
  python -m host_sim overlap --seeds 5 --out out/overlap

--out also keeps the run of each way with the first seed, for `map`. How sections are held shut, and
how far to trust it: docs/how_to/hold_covered_ground.md. Exit status: 0, or 2 for bad input.
"""
SEEDS_MAX = 100


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.common.unit_option import add_units

    parser.epilog = EPILOG
    parser.add_argument("--seeds", type=int, default=3, metavar="N",
                        help="drives of each way, with other errors of the receiver (default 3)")
    parser.add_argument("--out", type=Path, metavar="DIR", help="keep the runs there")
    add_units(parser, "to show (default metric)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_directory
    from host_sim.common.progress import progress
    from host_sim.common.unit_option import us_of
    from host_sim.trials.overlap import WAYS, outcomes
    from host_sim.trials.overlap_table import table

    if not 1 <= args.seeds <= SEEDS_MAX:
        raise InputError(f"--seeds: must be 1 to {SEEDS_MAX}, is {args.seeds}")
    if args.out:
        check_directory(args.out)
    with progress("driving") as tell:
        found = list(outcomes(WAYS, tuple(range(1, args.seeds + 1)), tell))
    written = _keep(args.out, [each[0] for each in found], us_of(args)) if args.out else []
    print("\n".join([*table(found, us_of(args)), *map(plain, written)]))
    return 0


def _keep(out: Path, found: list, us: bool) -> list[Path]:  # type: ignore[type-arg]  # of Outcome
    from host_sim.runs.files import write_run
    from host_sim.runs.summary import summarise

    for one in found:
        figures = summarise(one.record) | {"wall_seconds": None}
        write_run(out / one.way.name, one.record, figures, us)
    return [out / one.way.name for one in found]
