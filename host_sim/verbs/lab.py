"""`python -m host_sim lab`: run the sheet of a lab, or take it away as script or notebook."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "run the sheet of a lab, or write it as a script or a notebook"

EPILOG = """\
Without a number it lists the labs. docs/labs/README.md says what they are for.

examples:
  python -m host_sim lab
  python -m host_sim lab 1
  python -m host_sim lab 1 --script lab_1.py
  python -m host_sim lab 1 --notebook lab_1.ipynb
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("number", nargs="?", type=int, metavar="NUMBER", help="which lab")
    parser.add_argument("--script", type=Path, metavar="FILE",
                        help="write it as a Python script, to run from the project's folder")
    parser.add_argument("--notebook", type=Path, metavar="FILE",
                        help="write it as a Jupyter notebook")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_target, write_paths
    from host_sim.labs import sheet

    found = sheet.sheets()
    if args.number is None:
        if args.script or args.notebook:
            raise InputError("lab: say which one, " + _numbers(found))
        for number, path in found.items():
            title = path.read_text(encoding="utf-8").splitlines()[0].split(": ", 1)[1]
            print(f"{number}  {title}")
        return 0
    if args.number not in found:
        raise InputError(f"lab: {args.number} is none of {_numbers(found)}")
    path = found[args.number]
    text = path.read_text(encoding="utf-8")
    wanted = {target: make(text) for target, make in (
        (args.script, sheet.as_script), (args.notebook, sheet.as_notebook)) if target}
    for target in wanted:
        check_target(target)
    if wanted:
        for written in write_paths(wanted):
            print(plain(written))
        return 0
    for number, said in enumerate(sheet.run(path), 1):
        print(f"cell {number}\n{said}")
    return 0


def _numbers(found: dict[int, Path]) -> str:
    return ", ".join(str(number) for number in found)
