"""`python -m host_sim pictures`: pictures of the panel for the documents."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "take the pictures of the panel that the documents show"

EPILOG = """\
Starts the panel, drives it in chromium and leaves pictures and a short film of it. Takes about
a minute and a half, in real time.

example:
  python -m host_sim pictures --out docs/pictures
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("--out", type=Path, default=Path("docs/pictures"), metavar="DIR",
                        help="directory for the pictures (default docs/pictures)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import check_directory
    from host_sim.common.progress import progress
    from host_sim.panel.pictures import take

    check_directory(args.out)
    with progress("taking pictures") as tell:
        paths = take(args.out, tell)
    for path in paths:
        print(plain(path))
    return 0
