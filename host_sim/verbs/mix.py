"""`python -m host_sim mix`: what to put into the tank, fill by fill."""

from __future__ import annotations

import argparse
from pathlib import Path

from host_sim.common.unit_option import add_units, us_of

HELP = "work out product and water for each fill of the tank, or each jar"

EPILOG = """\
FILE says tank, area or plan, rate and products, with the limits of their labels
(docs/reference/mix_files.md). A nutrient aim with analysis and density gives the rate to set.
Exit status: 0; 1 where a limit of a label is crossed, or cannot be checked; 2 for bad input.

examples:
  python -m host_sim mix tank.toml
  python -m host_sim mix trial.toml --plan plan.csv --units us --csv mix.csv

caution: measure and mix products with the protection that the label asks for, away from wells and
drains. The product label and local rules prevail over anything printed here.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("file", type=Path, metavar="FILE", help="mix file (TOML)")
    parser.add_argument("--plan", type=Path, metavar="FILE",
                        help="plan of a field trial, in place of the area")
    parser.add_argument("--machine", type=Path, metavar="FILE",
                        help="machine file with the width, for a plan that has none")
    add_units(parser, "of the answer (default metric)")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="also write it for a program")


def run(args: argparse.Namespace) -> int:
    from host_sim.application_record.limits import WITHIN
    from host_sim.common.errors import plain
    from host_sim.common.output import check_target, write_paths
    from host_sim.field_trial.plan_file import read_plan
    from host_sim.machine_file.machine import load_machine
    from host_sim.mixing.batches import batches_of
    from host_sim.mixing.checks import verdicts
    from host_sim.mixing.mix_file import read_mix
    from host_sim.mixing.text import TABLE, lines, rows

    if args.csv:
        check_target(args.csv)
    mix = read_mix(args.file)
    place = args.plan or mix.plan
    plan = read_plan(place) if place else None
    machine = load_machine(args.machine) if args.machine else None
    width_m = sum(machine.settings.widths_mm()) / 1000 if machine else None
    batches = batches_of(args.file, mix, plan, width_m)
    if args.csv:
        write_paths({args.csv: TABLE.csv(rows(batches))})
    for line in lines(mix, batches, us_of(args)):
        print(plain(line))
    return 0 if all(verdict.word == WITHIN for verdict in verdicts(mix, batches)) else 1
