"""`size`: does a machine apply these rates at these speeds, and what limits first?"""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "size outlets, pump, meter and valves for a rate and a speed range"

EPILOG = """\
example:
  python -m host_sim size --rate "100 L/ha" --rate "150 L/ha" --speed "6 to 12 km/h" \\
      --spacing "0.5 m" --sections "6, 8, 6" --outlet 03 --pump "60 L/min open, 45 L/min at 4 bar"
  python -m host_sim size --units us --rate 10 --speed "4 to 8" --spacing 20 --sections "6, 6"
  python -m host_sim size my_machine.toml --plot window.png --json answer.json

Numbers may carry a unit (L/ha, gal/ac, km/h, mph, m, in, ft, L/min, gal/min, bar, psi, kPa,
kg/L, lb/gal, pulses/L, pulses/gal, pulses/m, pulses/ft); bare ones are read in --units.
FILE is a TOML file with a table [size]: the same names, underscores for hyphens, and units.
An option beats the file. Exit status: 0, or 1 if some rate has no usable speed, or 2 for
bad input. docs/how_to/size_a_machine.md explains the answer.

caution: pressure can burst hoses and inject liquid through the skin. Stay below the rating of
the weakest hose and fitting, release the pressure before you open anything, try with clean
water first. The product label and local rules prevail over anything printed here.
"""

PLOT_SUFFIXES = (".png", ".svg")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the arguments; the fields of a request are options of the same names."""
    from host_sim.sizing.fields import FIELDS

    parser.epilog = EPILOG
    parser.add_argument("file", nargs="?", type=Path, metavar="FILE", help="TOML file")
    parser.add_argument("--units", choices=("si", "us"), help="of bare numbers and of the answer")
    for field in FIELDS:
        suffix = f" (default: {field.default})" if field.default else ""
        parser.add_argument(
            "--" + field.name.replace("_", "-"),
            action="append",
            metavar=f"'{field.example}'",
            help=field.help + suffix,
        )
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the answer as JSON")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw it: .png or .svg")


def run(args: argparse.Namespace) -> int:
    """Read, answer, print and write; nothing is written if anything is wrong."""
    from host_sim.common.errors import InputError
    from host_sim.sizing.answer import solve
    from host_sim.sizing.fields import FIELDS
    from host_sim.sizing.request import read_request
    from host_sim.sizing.table import print_answer

    if args.plot and args.plot.suffix.lower() not in PLOT_SUFFIXES:
        raise InputError(f"--plot: {args.plot}: must end in {' or '.join(PLOT_SUFFIXES)}")
    for option, path in (("--json", args.json), ("--plot", args.plot)):
        if path and (path.is_dir() or not path.parent.is_dir()):
            raise InputError(f"{option}: {path}: is not a file in an existing directory")
    options = {field.name: getattr(args, field.name) for field in FIELDS}
    answer = solve(read_request(options, args.units and args.units == "us", args.file))
    if args.json:
        from host_sim.sizing.as_json import write_json

        write_json(answer, args.json)
    if args.plot:
        from host_sim.sizing.chart import draw

        draw(answer, args.plot)
    print_answer(answer)
    return 1 if answer.coverage.fits == "none" else 0
