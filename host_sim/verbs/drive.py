"""`python -m host_sim drive`: the main job, a scenario driven on the twin and judged."""

from __future__ import annotations

import argparse
from pathlib import Path

from host_sim.common.unit_option import add_units, us_of

HELP = "drive a scenario on the twin and judge what was really applied"

EPILOG = """\
Writes report.html, run.csv and summary.json. Without a scenario, a machine file is driven at the
rates and speeds that it wants, a pass for each rate; without either, the shipped plot bar is
driven along a recorded speed trace.

examples:
  python -m host_sim drive
  python -m host_sim drive --machine my_bar.toml --out out/my_bar
  python -m host_sim drive my.toml --speed-trace my_drive.csv --out out/my_drive
  python -m host_sim drive my.toml --machine my_bar.toml
  python -m host_sim drive --field rough
  python -m host_sim drive --speed-trace gnss.nmea --units us
  python -m host_sim drive --out out/demo --card out/demo/trace.bin
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("scenario", nargs="?", type=Path, metavar="SCENARIO",
                        help="scenario file (TOML); see docs/reference/scenario_files.md")
    parser.add_argument("--machine", type=Path, metavar="FILE",
                        help="machine file, alone or in place of the one that the scenario "
                             "names")
    parser.add_argument("--speed-trace", type=Path, metavar="FILE",
                        help="drive this trace instead: CSV with time_s,speed_m_s, or .nmea")
    parser.add_argument("--seed", type=seed, metavar="N", help="seed of noise and phases")
    parser.add_argument("--field", choices=("calm", "ordinary", "rough"),
                        help="the ground and the weather: docs/reference/disturbances.md (default: "
                             "of the scenario)")
    parser.add_argument("--out", type=Path, default=Path("out/demo"), metavar="DIR",
                        help="directory for the results (default out/demo)")
    add_units(parser, "units of the table and the report (default: of the machine file)")
    parser.add_argument("--record-inputs", type=Path, metavar="FILE",
                        help="also write what the controller was given, tick by tick")
    parser.add_argument("--card", type=Path, metavar="FILE",
                        help="put an SD card into the board, and write the trace.bin that it then "
                             "holds there; see the verb card")


def seed(text: str) -> int:
    """A seed from the command line."""
    from host_sim.twin.scenario import SEED_MAX

    value = int(text)
    if not 0 <= value <= SEED_MAX:
        raise argparse.ArgumentTypeError(f"must be 0 to {SEED_MAX}, is {value}")
    return value


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import check_directory, check_target
    from host_sim.report.table import short_table
    from host_sim.twin.card_image import check_card_target
    from host_sim.twin.drive import drive
    from host_sim.twin.plain_drive import scenario_for

    scenario = scenario_for(args.scenario, args.speed_trace, args.seed, args.machine,
                            args.field)
    us = us_of(args, bool(scenario.settings.us_units))
    check_directory(args.out)
    if args.record_inputs:
        check_target(args.record_inputs)
    if args.card:
        check_card_target(args.card)
    result = drive(scenario, args.out, us, args.record_inputs, args.card)
    print(short_table(result.figures, us))
    for path in result.paths:
        print(plain(path))
    return 0
