"""`python -m host_sim report`: the report of a recorded run, made anew."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "make the report of a recorded run"

EPILOG = """\
RUN is a directory with run.csv and summary.json, as `drive` leaves it.

examples:
  python -m host_sim report out/demo
  python -m host_sim report out/demo --units us --out for_the_neighbour.html
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("run_directory", type=Path, metavar="RUN", help="directory of the run")
    parser.add_argument("--out", type=Path, metavar="FILE",
                        help="where to write it (default RUN/report.html)")
    parser.add_argument("--units", choices=("metric", "us"), default="metric",
                        help="units of the report (default metric)")


def run(args: argparse.Namespace) -> int:
    from host_sim.output import check_directory, write_files
    from host_sim.progress import progress
    from host_sim.report.page import render
    from host_sim.run_files import REPORT_HTML, read_run

    out = args.out or args.run_directory / REPORT_HTML
    check_directory(out.parent)
    record, figures = read_run(args.run_directory)
    with progress("drawing") as tell:
        page = render(record, figures, args.units == "us", tell)
    for path in write_files(out.parent, {out.name: page}):
        print(path)
    return 0
