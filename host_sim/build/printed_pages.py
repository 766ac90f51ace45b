"""Pages that show what a command prints: `make figures` runs the commands and writes it anew.

A block that is printed stands in a page below a line that names its command, unseen by readers:

    <!-- printed by: python -m host_sim fields -->

and, where it is only a part, what the part begins with; it ends before the next empty line:

    <!-- printed by: python -m host_sim acceptance; from: claims -->
"""

from __future__ import annotations

import argparse
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import NamedTuple

import host_sim
from host_sim.common.errors import InputError
from host_sim.common.output import write_files

DIRECTORY = host_sim.REPO_ROOT / "docs" / "reference"
BLOCK = re.compile(r"<!-- printed by: (?P<command>[^;\n]+?)(?:; from: (?P<start>[^\n]+?))? -->\n"
                   r"```\n(?P<text>.*?)```\n", re.DOTALL)
ENDS = (0, 1)  # 1: the command says that a claim does not hold, and has printed all the same
EXIT_BAD_INPUT = 2


class PrintedBlock(NamedTuple):
    """A block of a page: its command, what it begins with ("": all that is printed), its text."""

    command: str
    start: str
    text: str


def printed_blocks(page: str) -> list[PrintedBlock]:
    """The blocks of a page's text that a command prints, in order."""
    return [PrintedBlock(match["command"], match["start"] or "", match["text"])
            for match in BLOCK.finditer(page)]


def pages() -> list[Path]:
    """The reference pages that have such blocks."""
    return [path for path in sorted(DIRECTORY.glob("*.md")) if printed_blocks(path.read_text())]


def part(printed: str, start: str) -> str:
    """The lines from the one that begins with start to the next empty one; "": all lines.

    Raises InputError where no line begins so.
    """
    lines = printed.strip("\n").splitlines()
    if start:
        first = next((number for number, line in enumerate(lines) if line.startswith(start)), None)
        if first is None:
            raise InputError(f"no line that is printed begins with {start!r}")
        rest = lines[first:]
        lines = rest[:rest.index("")] if "" in rest else rest
    return "".join(f"{line}\n" for line in lines)


def renewed(page: str, run: Callable[[str], str]) -> str:
    """The page with each block as run, which takes a command and returns what it prints, has it."""
    def block(match: re.Match[str]) -> str:
        new = part(run(match["command"]), match["start"] or "")
        before, after = match.span("text")
        return page[match.start():before] + new + page[after:match.end()]

    return BLOCK.sub(block, page)


@cache  # one command prints several blocks
def run_command(command: str) -> str:
    """Run a command that begins with python from the root of the repository; what it prints.

    Raises InputError where it ends with a status that no claim explains.
    """
    ended = subprocess.run([sys.executable, *shlex.split(command)[1:]], cwd=host_sim.REPO_ROOT,
                           capture_output=True, text=True)
    if ended.returncode not in ENDS:
        raise InputError(f"{command} ended with {ended.returncode}: {ended.stderr.strip()}")
    return ended.stdout


def main(argv: list[str] | None = None) -> int:
    """Run one command line; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m host_sim.build.printed_pages",
                                     description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="NAME",
                        help="only this page of docs/reference, without .md; may be repeated")
    parser.add_argument("--check", action="store_true",
                        help="write nothing; name the pages that differ and exit 1")
    args = parser.parse_args(argv)
    there = {path.stem: path for path in pages()}
    for name in args.names:
        if name not in there:
            parser.error(f"no page {name} has a printed block; those that have: {', '.join(there)}")
    stale = 0
    for path in [there[name] for name in args.names or there]:
        for command in dict.fromkeys(block.command for block in printed_blocks(path.read_text())):
            print(f"{path.name}: {command}", flush=True)
        try:
            text = renewed(path.read_text(), run_command)
        except InputError as error:
            print(f"{path.name}: {error}", file=sys.stderr)
            return EXIT_BAD_INPUT
        if text == path.read_text():
            continue
        stale += 1
        if args.check:
            print(f"{path.name} differs from what is printed")
        else:
            print(write_files(path.parent, {path.name: text})[0])
    return 1 if stale and args.check else 0


if __name__ == "__main__":
    sys.exit(main())
