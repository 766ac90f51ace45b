"""`python -m host_sim antenna`: lag and place of a receiver's antenna."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "tell the lag and the place of a receiver's antenna from passes to and fro over one line"

EPILOG = """\
examples:
  python -m host_sim antenna field.rec
  python -m host_sim antenna out/stakes

The how-to is docs/how_to/follow_the_position.md. Exit status: 0, or 2 for bad input.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    from host_sim.common.unit_option import add_units

    parser.epilog = EPILOG
    parser.add_argument("run_path", type=Path, metavar="RUN",
                        help="folder of a run, or the recording of a board")
    add_units(parser, "to show (default metric)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common import units
    from host_sim.common.errors import InputError
    from host_sim.common.unit_option import us_of
    from host_sim.maps.antenna import antenna_of
    from host_sim.runs.files import load_run

    record, _ = load_run(args.run_path)
    try:
        found = antenna_of(record)
    except InputError as error:
        raise InputError(f"{args.run_path}: {error}") from error
    us = us_of(args, record.us)
    side = "left" if found.right_m < 0 else "right"
    place = units.text("width_mm", abs(found.right_m), us)
    print(f"{found.pairs} pairs of passes in opposite directions")
    print(f"lag of the antenna      {found.lag_s:.2f} s (+- {found.lag_range_s:.2f} s among them)")
    print(f"antenna to the {side:<5}    {place} "
          f"(+- {units.text('width_mm', found.right_range_m, us)})")
    return 0
