"""`size`: does a machine apply these rates at these speeds, and what limits first?"""

from __future__ import annotations

import argparse
from pathlib import Path

from host_sim.common.unit_option import add_units, us_of

HELP = "size outlets, pump, meter and valves for a rate and a speed range"

EPILOG = """\
example:
  python -m host_sim size --rate "100 L/ha" --rate "150 L/ha" --speed "6 to 12 km/h" \\
      --spacing "0.5 m" --sections "6, 8, 6" --outlet 03 --pump "60 L/min open, 45 L/min at 4 bar"
  python -m host_sim size --units us --rate 10 --speed "4 to 8" --spacing 20 --sections "6, 6"
  python -m host_sim size --rate "80 L/ha" --speed "6 to 10 km/h" --width "3 m" --sections "3, 3" \\
      --pump M --meter "450 pulses/L" --out my_bar.toml
  python -m host_sim size my_bar.toml --plot window.png --json answer.json

Numbers may carry a unit (L/ha, gal/ac, km/h, mph, m, in, ft, L/min, gal/min, bar, psi, kPa,
kg/L, lb/gal, pulses/L, pulses/gal, pulses/m, pulses/ft); bare ones are read in --units.
FILE is a machine file (docs/reference/machine_file.md); an option beats it. --out writes one, with
all that was said and the pump curve that follows from it, for calibrate, tune, drive and board to
go on with. Exit status: 0, or 1 if some
rate has no usable speed, or 2 for bad input. docs/how_to/size_a_machine.md explains the answer.

caution: pressure can burst hoses and inject liquid through the skin. Stay below the rating of
the weakest hose and fitting, release the pressure before you open anything, try with clean
water first. The product label and local rules prevail over anything printed here.
"""

PLOT_SUFFIXES = (".png", ".svg")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the arguments; the fields of a request are options of the same names."""
    from host_sim.sizing.fields import FIELDS

    parser.epilog = EPILOG
    parser.add_argument("file", nargs="?", type=Path, metavar="FILE", help="machine file (TOML)")
    add_units(parser, "of bare numbers and of the answer (default: of the machine file, or metric)")
    for field in FIELDS:
        suffix = f" (default: {field.default})" if field.default else ""
        parser.add_argument(
            "--" + field.name.replace("_", "-"),
            action="append",
            metavar=f"'{field.example}'",
            help=field.help + suffix,
        )
    parser.add_argument("--out", type=Path, metavar="FILE", help="write the machine file")
    parser.set_defaults(in_place="out")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the answer as JSON")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw it: .png or .svg")


def run(args: argparse.Namespace) -> int:
    """Read, answer, print and write; nothing is written if anything is wrong."""
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import write_files
    from host_sim.sizing.answer import solve
    from host_sim.sizing.fields import FIELDS
    from host_sim.sizing.hand_over import machine_text
    from host_sim.sizing.request import read_request
    from host_sim.sizing.table import print_answer

    if args.plot and args.plot.suffix.lower() not in PLOT_SUFFIXES:
        raise InputError(f"--plot: {args.plot}: must end in {' or '.join(PLOT_SUFFIXES)}")
    for option, path in (("--json", args.json), ("--plot", args.plot), ("--out", args.out)):
        if path and (path.is_dir() or not path.parent.is_dir()):
            raise InputError(f"{option}: {path}: is not a file in an existing directory")
    if args.out and args.out.exists() and args.out != args.file:
        raise InputError(f"--out: {args.out}: is there already; to change it, give it as FILE too")
    options = {field.name: getattr(args, field.name) for field in FIELDS}
    request = read_request(options, us_of(args) if args.units else None, args.file)
    text = machine_text(request, args.file, args.out) if args.out else ""
    answer = solve(request)
    if args.json:
        from host_sim.sizing.as_json import write_json

        write_json(answer, args.json)
    if args.plot:
        from host_sim.sizing.chart import draw

        draw(answer, args.plot)
    if args.out:
        write_files(args.out.parent, {args.out.name: text})
    print_answer(answer)
    if args.out:
        print(plain(args.out))
    return 1 if answer.coverage.fits == "none" else 0
