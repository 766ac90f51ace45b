"""`python -m host_sim fields`: the loop's figures in a calm, an ordinary and a rough field."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "drive in a calm, an ordinary and a rough field and set the figures side by side"

EPILOG = """\
One drive in each field, the same way and the same seeds; a table of how near to the wanted rate
every metre of every section came, and every 0.05 s. docs/reference/fields.md says what the fields
are made of and has the figures of the demonstration. With --oracle the dynamic oracle of the
acceptance test drives the same: it knows the machine in motion, and shows what could be reached.

examples:
  python -m host_sim fields
  python -m host_sim fields --oracle
  python -m host_sim fields my.toml --seeds 5 --json out/fields.json
"""


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.verbs.acceptance import at_least_one

    parser.epilog = EPILOG
    parser.add_argument("scenario", nargs="?", type=Path, metavar="SCENARIO",
                        help="scenario to drive (default: the demo)")
    parser.add_argument("--machine", type=Path, metavar="FILE",
                        help="machine file in place of the one that the scenario names; alone, "
                             "its own drive is driven")
    parser.add_argument("--seeds", type=at_least_one, default=1, metavar="N",
                        help="drive with so many seeds from 1 on and take the mean (default 1)")
    parser.add_argument("--oracle", action="store_true",
                        help="drive with the dynamic oracle, too; that takes some minutes")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write the figures here")
    parser.add_argument("--workers", type=at_least_one, metavar="W",
                        help="processes to use (default: one a core)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import write_json
    from host_sim.common.parallel import executor
    from host_sim.common.progress import progress
    from host_sim.trials.acceptance.contenders import DYNAMIC_ORACLE, THE_CONTROLLER
    from host_sim.trials.fields import as_json, fields_text, run_fields
    from host_sim.twin.plain_drive import scenario_for
    from host_sim.verbs.acceptance import check_file

    scenario = scenario_for(args.scenario, machine_file=args.machine)
    check_file("--json", args.json)
    contenders = (THE_CONTROLLER, DYNAMIC_ORACLE) if args.oracle else (THE_CONTROLLER,)
    seeds = tuple(range(1, args.seeds + 1))
    with executor(args.workers) as pool, progress("driving") as tell:
        rows = run_fields(scenario, seeds, pool, tell, contenders)
    written = write_json(args.json, as_json(rows, seeds))
    print("\n".join([fields_text(rows), *map(plain, written)]))
    return 0
