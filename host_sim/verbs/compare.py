"""`python -m host_sim compare`: a variant of the core beside ours."""

from __future__ import annotations

import argparse
import math
from pathlib import Path

HELP = "score a changed copy of the core beside ours: acceptance sequence and tests"

EPILOG = """\
MY_CORE is a folder with a changed copy of firmware/rate_control, or with some changed files of it,
which are laid over ours. Both are driven through the acceptance sequence and the recorded drive, in
processes of their own; the variant goes through the tests of the firmware, the house rules of the
core and the heap lock of MicroPython. One table: figures, claims, tests that fail. A variant that
crashes, hangs or allocates costs its own figures and nothing else. Nothing of yours is changed.
Exit status: 0 if nothing broke, 1 if something did, 2 for bad input.

examples:
  python -m host_sim compare my_core
  python -m host_sim compare my_core --machine electric_m --json out/my_core.json
"""
MACHINES = ("electric_m", "inline_centrifugal")
REPEATS = 2
PATIENCE_S = 300.0


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("folder", type=Path, metavar="MY_CORE",
                        help="folder with the changed files of the core")
    parser.add_argument("--machine", action="append", metavar="KIND",
                        help="drive this kind of machine; may be repeated (default: "
                             f"{' and '.join(MACHINES)})")
    parser.add_argument("--patience", type=seconds, default=PATIENCE_S, metavar="S",
                        help="when nothing came for so long, it hangs (default "
                             f"{PATIENCE_S:.0f})")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write everything as JSON")


def seconds(text: str) -> float:
    """A time from the command line."""
    value = float(text)
    if not (math.isfinite(value) and value > 0.0):
        raise argparse.ArgumentTypeError(f"must be above 0, is {value}")
    return value


def run(args: argparse.Namespace) -> int:
    from dataclasses import asdict

    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import write_json
    from host_sim.common.progress import progress
    from host_sim.compare.score import score
    from host_sim.compare.table import score_text
    from host_sim.compare.variant import load_variant
    from host_sim.plant.catalogue import KINDS
    from host_sim.verbs.acceptance import check_file

    machines = tuple(dict.fromkeys(args.machine or MACHINES))
    for kind in machines:
        if kind not in KINDS:
            raise InputError(f"--machine: {kind}: must be one of {', '.join(KINDS)}")
    check_file("--json", args.json)
    variant = load_variant(args.folder)
    with progress("comparing") as tell:
        found = score(variant, machines, REPEATS, args.patience, tell)
    written = write_json(args.json, {
        "changed": variant.lines, "ours": found.ours, "theirs": found.theirs,
        "problem": found.problem, "tests": asdict(found.tests), "broken": found.broken})
    print("\n".join([score_text(found), *map(plain, written)]))
    return 0 if found.as_good else 1
