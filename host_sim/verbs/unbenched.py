"""`python -m host_sim unbenched`: what a bench spares, and what learning at work makes of it."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "compare pump machines tuned on the bench, only sized, and sized with learning at work"

EPILOG = """\
Each build is a pump machine whose parts are off their catalogue as parts are. It drives three times
the same way, with the same seeds: tuned by curve and step test; set up by `size` alone; and so with
curve_learning on. Each drive is 200 m at work, a stop, and 200 m that are judged in truth, by the
metre of each section. docs/how_to/learn_at_work.md says how to read it.

examples:
  python -m host_sim unbenched
  python -m host_sim unbenched --builds 3 --field rough --json out/unbenched.json
"""


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.twin.disturbances import CALM, ORDINARY, ROUGH
    from host_sim.verbs.acceptance import at_least_one

    parser.epilog = EPILOG
    parser.add_argument("--builds", type=at_least_one, default=18, metavar="N",
                        help="so many builds, of small, middle and large by turns (default 18)")
    parser.add_argument("--seed", type=at_least_one, default=1, metavar="N",
                        help="of the first build (default 1); those after it count on")
    parser.add_argument("--field", choices=(CALM, ORDINARY, ROUGH), default=ORDINARY,
                        help=f"how clean the field is (default {ORDINARY})")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write the figures here")
    parser.add_argument("--workers", type=at_least_one, metavar="W",
                        help="processes to use (default: one a core)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import write_json
    from host_sim.common.parallel import executor
    from host_sim.common.progress import progress
    from host_sim.trials.unbenched import as_json, run_unbenched, table
    from host_sim.verbs.acceptance import check_file

    check_file("--json", args.json)
    with executor(args.workers) as pool, progress("driving") as tell:
        found = run_unbenched(args.builds, args.seed, pool, tell, args.field)
    written = write_json(args.json, as_json(found, args.field))
    print("\n".join([*table(found), *map(plain, written)]))
    return 0
