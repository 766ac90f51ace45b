"""`python -m host_sim application-record`: who put what where, when and how much, with raw data."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from host_sim.common.unit_option import add_units, us_of

HELP = "make the record of an application from a run and a job file, or check one"

EPILOG = """\
RUN is a directory as `drive` or `record --from` leaves it, a recording of a board, or the folder
of `board fetch`. The job file says what the controller cannot know: docs/how_to/keep_records.md.
What the record should hold and nobody knows is marked as missing, on the page and on stderr.

examples:
  python -m host_sim application-record field.rec --job field.toml --out records/field_7_may_4
  python -m host_sim application-record out/demo --job host_sim/scenarios/plot_bar_job.toml \\
      --out out/demo_record --units us
  python -m host_sim application-record --verify records/field_7_may_4
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("run_path", nargs="?", type=Path, metavar="RUN", help="the run")
    parser.add_argument("--job", type=Path, metavar="FILE", help="job file (TOML)")
    parser.add_argument("--out", type=Path, metavar="DIR",
                        help="folder to make; a record is never overwritten")
    add_units(parser, "units that come first on the page (default: of the run)")
    parser.add_argument("--verify", type=Path, metavar="DIR",
                        help="check that nothing in the folder of a record was changed")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError

    if args.verify:
        if args.run_path or args.job or args.out:
            raise InputError("--verify goes alone: it takes no RUN, --job or --out")
        return _verify(args.verify)
    for name, value in (("RUN", args.run_path), ("--job", args.job), ("--out", args.out)):
        if value is None:
            raise InputError(f"{name} is missing (see --help)")
    return _make(args)


def _make(args: argparse.Namespace) -> int:
    from host_sim.application_record.folder import PAGE, SUMS, make_record
    from host_sim.common.errors import plain
    from host_sim.common.progress import progress

    with progress("making the record"):
        sheet = make_record(args.run_path, args.job, args.out,
                            us_of(args) if args.units else None)
    for verdict in sheet.doses:
        loud = verdict.bad and sys.stderr.isatty()
        print(f"\x1b[1m{plain(verdict)}\x1b[0m" if loud else plain(verdict), file=sys.stderr)
    for missing in sheet.missing:
        print(plain(f"missing: {missing}"), file=sys.stderr)
    for remark in sheet.remarks:
        print(plain(remark), file=sys.stderr)
    print(plain(args.out / PAGE))
    print(plain(args.out / SUMS))
    return 0


def _verify(folder: Path) -> int:
    from host_sim.application_record.folder import verify
    from host_sim.common.errors import plain

    problems = verify(folder)
    for problem in problems:
        print(plain(problem))
    if not problems:
        print(f"{plain(folder)}: every file is as it was when the record was made")
    return 1 if problems else 0
