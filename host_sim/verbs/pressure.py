"""`python -m host_sim pressure`: the pressure sensor of a machine file, onto its board."""

from __future__ import annotations

import argparse
from pathlib import Path

from host_sim.common.unit_option import add_units

HELP = "make the file of a pressure sensor for a board, from a machine file"

EPILOG = """\
examples:
  python -m host_sim pressure my_bar.toml
  python -m host_sim pressure my_bar.toml --out pressure.bin
  python -m host_sim pressure my_bar.toml --out pressure.bin --units us

How it is wired, gets onto a board, and what it tells: docs/how_to/use_a_pressure_sensor.md.
Exit status: 0, or 2 for bad input.

caution: what is under pressure can hurt. Release it before you open a hose, a filter or an outlet.
The product label, local rules and licensed practice prevail.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("machine", type=Path, metavar="MACHINE",
                        help="machine file with a table [pressure]")
    parser.add_argument("--out", type=Path, metavar="FILE",
                        help="file to write; without it nothing is written")
    add_units(parser, "of what is printed (default: of the machine file)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_target, write_bytes
    from host_sim.common.unit_option import us_of
    from host_sim.machine_file.machine import load_machine
    from host_sim.machine_file.pressure_file import in_words, pressure_bytes

    if args.out:
        check_target(args.out)
    machine = load_machine(args.machine)
    if machine.pressure is None:
        raise InputError(f"{args.machine}: pressure: the table is missing, so there is no sensor: "
                         "docs/how_to/use_a_pressure_sensor.md")
    print("\n".join(in_words(machine.pressure, machine.outlets, us_of(args, machine.us))))
    if args.out:
        data = pressure_bytes(machine)
        write_bytes({args.out: data})
        print(f"{plain(args.out)}: {len(data)} bytes")
    return 0
