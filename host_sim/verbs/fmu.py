"""`python -m host_sim fmu`: a simulated machine as a unit for other tools."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "export a simulated machine as a co-simulation unit (FMI 2.0) for other tools"

EPILOG = """\
MACHINE is a machine file or the name of a kind (docs/reference/machines.md). The unit is the plant
of the twin alone: a controller of your own, in your own tool, gives duty, sections and speed, and
reads the pulses. It needs Python 3.11 or later where it runs, and no package. What its variables
mean: docs/how_to/control_it_from_your_own_tool.md.

examples:
  python -m host_sim fmu electric_m --out out/electric_m.fmu
  python -m host_sim fmu my_bar.toml --out out/my_bar.fmu
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("machine", metavar="MACHINE", help="machine file, or a kind of machine")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE",
                        help="unit to write, a name that ends in .fmu")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_target
    from host_sim.fmi.packing import SUFFIX, pack
    from host_sim.machine_file.choice import chosen

    machine = chosen(args.machine)
    if args.out.suffix != SUFFIX:
        raise InputError(f"--out: must end in {SUFFIX}, is {args.out}")
    check_target(args.out)
    print(plain(pack(machine.spec, machine.name, args.out)))
    return 0
