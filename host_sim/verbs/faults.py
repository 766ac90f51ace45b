"""`python -m host_sim faults`: break one thing at a time and see what the controller says."""

from __future__ import annotations

import argparse
from pathlib import Path

from host_sim.common.unit_option import add_units, us_of

HELP = "break one thing at a time on the twin and see what the controller says"

EPILOG = """\
Each fault has a steady drive in which one part of the simulated machine fails. The table tells
what the controller shows, how soon, and what went on the ground meanwhile.

examples:
  python -m host_sim faults
  python -m host_sim faults --machine my_bar.toml
  python -m host_sim faults my.toml --json out/faults.json
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("scenario", nargs="?", type=Path, metavar="SCENARIO",
                        help="scenario whose machine and settings are used (default: the demo)")
    parser.add_argument("--machine", type=Path, metavar="FILE",
                        help="machine file, alone or in place of the one that the scenario "
                             "names")
    add_units(parser, "units of what is shown (default: of the machine file, or metric)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write the results here")


def run(args: argparse.Namespace) -> int:
    from rich.table import Table

    from host_sim.common.errors import plain
    from host_sim.common.output import check_directory, write_json
    from host_sim.common.tables import console
    from host_sim.trials.faults import HEADINGS, as_json, cells, run_faults
    from host_sim.twin.plain_drive import scenario_for

    scenario = scenario_for(args.scenario, machine_file=args.machine)
    us = us_of(args, bool(scenario.settings.us_units))
    if args.json:
        check_directory(args.json.parent)
    outcomes = list(run_faults(scenario))
    table = Table(*HEADINGS, box=None, pad_edge=False)
    for outcome in outcomes:
        table.add_row(*cells(outcome, us))
    written = write_json(args.json, [as_json(outcome) for outcome in outcomes])
    console(150).print(table)
    for path in written:
        print(plain(path))
    return 0
