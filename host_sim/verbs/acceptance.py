"""`python -m host_sim acceptance`: a standard test sequence on every machine, against baselines."""

from __future__ import annotations

import argparse
from pathlib import Path

from host_sim.common.unit_option import add_units, us_of

HELP = "put every machine through the test sequence of ISO 5682-3, against baselines"

EPILOG = """\
Each simulated machine is set up by the firmware's own procedures, then driven through speed
steps, sections off and on and the resetting series, seven times, by the controller, by constant
duty, by feedback alone, by the controller without its feed-forward of the sections, and by two
oracles that know the machine, one at rest and one in motion. docs/reference/acceptance.md
explains every column. Exit status: 0 if every claim holds, 1 if not, 2 for bad input.

examples:
  python -m host_sim acceptance
  python -m host_sim acceptance --machine electric_m --machine bypass_pd --plot out/two.png
  python -m host_sim acceptance --machine my_bar.toml
  python -m host_sim acceptance --json out/acceptance.json --plot out/acceptance.png --units us
"""
PLOT_SUFFIXES = (".png", ".svg")


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("--machine", action="append", metavar="MACHINE",
                        help="only this kind of machine, or the one of this machine file; may be "
                             "repeated (default: all kinds)")
    parser.add_argument("--field", choices=("calm", "ordinary", "rough"), default="calm",
                        help="the field to drive in (default calm: the claims are about that)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all figures as JSON")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw them: .png or .svg")
    parser.add_argument("--workers", type=at_least_one, metavar="N",
                        help="processes to use (default: one a core)")
    add_units(parser, "units of what is shown (default: of the machine files, or "
                      "metric)")


def at_least_one(text: str) -> int:
    """A number of processes from the command line."""
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"must be at least 1, is {value}")
    return value


def check_file(option: str, path: Path | None, suffixes: tuple[str, ...] = ()) -> None:
    """Raise InputError where a file to write has the wrong name or cannot be written."""
    from host_sim.common.errors import InputError
    from host_sim.common.output import check_directory

    if path is None:
        return
    if suffixes and path.suffix.lower() not in suffixes:
        raise InputError(f"{option}: {path}: must end in {' or '.join(suffixes)}")
    if path.is_dir():
        raise InputError(f"{option}: {path}: is a directory")
    check_directory(path.parent)


def run(args: argparse.Namespace) -> int:
    import json

    from host_sim.common.errors import InputError
    from host_sim.common.output import write_files
    from host_sim.common.parallel import executor
    from host_sim.common.progress import progress
    from host_sim.machine_file.choice import chosen
    from host_sim.plant.catalogue import KINDS
    from host_sim.trials.acceptance.session import as_json, run_acceptance
    from host_sim.trials.acceptance.table import acceptance_text
    from host_sim.trials.commissioning.performed import BenchError

    machines = tuple(args.machine or KINDS)
    files = []
    for name in machines:
        try:
            files.append(chosen(name).file)
        except InputError as error:
            raise InputError(*(f"--machine: {line}" for line in error.args)) from None
    check_file("--json", args.json)
    check_file("--plot", args.plot, PLOT_SUFFIXES)
    us = us_of(args, all(file and file.us for file in files))
    try:
        with executor(args.workers) as pool, progress("testing") as tell:
            outcome = run_acceptance(machines, pool=pool, tell=tell, field=args.field)
    except BenchError as error:
        raise InputError(str(error)) from error
    if args.json:
        text = json.dumps(as_json(outcome), indent=2, allow_nan=False) + "\n"
        write_files(args.json.parent, {args.json.name: text})
    if args.plot:
        from host_sim.trials.acceptance.chart import draw

        draw(outcome, args.plot, us)
    print(acceptance_text(outcome, us))
    return 0 if all(claim.holds for claim in outcome.claims) else 1
