"""`calibrate`: the arithmetic of the calibration procedures, from numbers taken by hand."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.common.unit_option import add_units, us_of

if TYPE_CHECKING:
    from host_sim.machine_file.machine import MachineFile

HELP = "work out a calibration from numbers taken by hand"

EPILOG = """\
example:
  python -m host_sim calibrate course --distance "100 m" 12940 12952 12938 12950
  python -m host_sim calibrate meter-catch --units us 1703=128 1699=127.5 1706=128.5
  python -m host_sim calibrate density --units us --rate 20 --density 10.65

Each procedure has a how-to in docs/how_to and an example of its own: calibrate course --help.
Exit status: 0; 1 where more must be collected (it says how much); 2 for bad input.

caution: clean water first; gloves and eye protection, for a used machine is never clean; let
nobody stand in front of an outlet under pressure. The product label and local rules prevail.
"""

AMOUNTS = {
    "course": ("PULSES", "pulses of each run, there and back by turns"),
    "meter_catch": ("PULSES=AMOUNT", "pulses and volume (or mass, with --weighed) of each run"),
    "low_flow_catch": ("PULSES=AMOUNT@TIME", "pulses, volume (or mass) and time of each run"),
    "outlet_catch": ("AMOUNT", "what each outlet gave, in order"),
    "plot_catch": ("AMOUNT", "what each outlet gave; none: only the course is worked out"),
    "tank_check": ("VOLUME", "what filled the tank to the mark again"),
}

EXAMPLES = {
    "course": 'calibrate course --distance "100 m" 12940 12952 12938 12950',
    "meter_catch": "calibrate meter-catch --weighed --density 0.998 4493=9.98 4501=10.00 4488=9.97",
    "low_flow_catch": "calibrate low-flow-catch --jug-step 5 729=1.8L@90 730=1.8L@90 728=1.8L@90",
    "outlet_catch": "calibrate outlet-catch --time 60 --rated 0.8 805 812 798 930 801 610",
    "plot_catch": "calibrate plot-catch --units us --width 20 --course-time 27 20.5 19.8 20.1",
    "tank_check": 'calibrate tank-check --meter "1210 L" --tank-step "2 L" "1188 L"',
}


def configure(parser: argparse.ArgumentParser) -> None:
    """Add a subcommand for each procedure of the catalogue that needs no pump."""
    from host_sim.calibration.desk import by_hand

    parser.epilog = EPILOG
    commands = parser.add_subparsers(metavar="PROCEDURE", required=True)
    for row in by_hand():
        name, *_, meaning = row
        command = commands.add_parser(
            name.replace("_", "-"), help=meaning, description=meaning,
            epilog=f"example:\n  python -m host_sim {EXAMPLES[name]}",
            formatter_class=argparse.RawDescriptionHelpFormatter)
        _common(command)
        _options(command, row)
        command.set_defaults(action=_procedure, row=row)
    density = commands.add_parser("density", help="water to see for a liquid of another density")
    _common(density)
    density.add_argument("--rate", metavar="RATE",
                         help="rate of the liquid wanted (default: of the machine file)")
    density.add_argument("--density", metavar="DENSITY",
                         help="density of the liquid (default: of the machine file)")
    density.add_argument("--machine", type=Path, metavar="FILE", help="machine file")
    density.set_defaults(action=_density)


def _common(command: argparse.ArgumentParser) -> None:
    add_units(command, "of bare numbers and of the answer (default: of the machine file, "
                       "or metric)")


def _options(command: argparse.ArgumentParser, row: Any) -> None:
    """Add the parameters of a procedure, its amounts and the settings it starts from."""
    from app import quantity_text
    from host_sim.calibration.desk import is_flag, options

    for option, (_, quantity, _, _, default, meaning) in options(row).items():
        if is_flag(options(row)[option]):
            command.add_argument("--" + option, action="store_const", const="1", help=meaning)
            continue
        shown = quantity_text.show(quantity, default, False).replace("%", "%%")
        if option == "width":
            shown = f"of the machine file, or {shown}"
        command.add_argument("--" + option, metavar="N", help=f"{meaning} (default: {shown})")
    if row[0] == "plot_catch":
        command.add_argument("--course-time", metavar="N", help="time the course took")
    metavar, words = AMOUNTS[row[0]]
    count = "*" if row[0] == "plot_catch" else "+"
    command.add_argument("amounts", nargs=count, metavar=metavar, help=words)
    command.add_argument("--machine", type=Path, metavar="FILE",
                         help="machine file with the present settings (default: those of a new "
                              "controller)")
    command.add_argument("--set", action="append", default=[], metavar="NAME=VALUE",
                         help="a present setting that differs, such as rate='20 gal/ac'")
    command.add_argument("--into", type=Path, metavar="FILE",
                         help="machine file that is used and takes the result; FILE.before keeps "
                              "what it was")


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says."""
    status: int = args.action(args)
    return status


def _procedure(args: argparse.Namespace) -> int:
    from host_sim.calibration.desk import parameters, perform
    from host_sim.calibration.texts import print_answer
    from host_sim.common.errors import InputError
    from host_sim.machine_file.keeping import keep
    from host_sim.machine_file.machine import load_machine
    from host_sim.machine_file.values import with_changes
    from rate_control.settings import Settings

    if args.into and args.machine:
        raise InputError("--machine: is not needed beside --into, whose file is used")
    path = args.into or args.machine
    machine = load_machine(path) if path else None
    us = us_of(args, bool(machine and machine.us))
    settings = with_changes(machine.settings if machine else Settings(), args.set, us)
    given = {name.replace("_", "-"): value for name, value in vars(args).items()}
    if machine and "width" in given and given["width"] is None:
        given["width"] = _outlet_width(machine)
    values = parameters(args.row, given, len(args.amounts), us)
    procedure = perform(args.row, values, settings, args.amounts, us, given.get("course-time"))
    if args.into and procedure.proposal():
        keep(args.into, procedure.proposal(), f"{args.row[0].replace('_', ' ')} by hand")
    print_answer(procedure, settings, bool(args.amounts), us)
    return 1 if args.amounts and procedure.needs_more() else 0


def _outlet_width(machine: MachineFile) -> str:
    """The width that one outlet of a machine serves. Raises InputError where it does not say."""
    from host_sim.common.errors import InputError

    outlets = machine.outlets
    if not outlets:
        raise InputError(f"--width: is missing, and so is fitted.sections in {machine.path}")
    return f"{1000 * machine.width_m / outlets:.6f} mm"


def _density(args: argparse.Namespace) -> int:
    from host_sim.calibration.texts import print_density
    from host_sim.common.errors import InputError
    from host_sim.machine_file.machine import load_machine
    from host_sim.machine_file.values import write
    from rate_control.settings import row

    machine = load_machine(args.machine) if args.machine else None
    us = us_of(args, bool(machine and machine.us))

    def of(option: str, name: str) -> str:
        if getattr(args, option) is not None:
            return str(getattr(args, option))
        if machine is None:
            raise InputError(f"--{option}: is missing, and so is --machine")
        return str(write(row(name), getattr(machine.settings, name), us))

    print_density(of("rate", "rate_ml_ha"), of("density", "liquid_density_g_l"), us)
    return 0
