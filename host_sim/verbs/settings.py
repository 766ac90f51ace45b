"""`settings`: the settings of a controller as a file; check it, compare two, document them."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from host_sim.common.settings_file import Change

HELP = "export settings to a file, check one, compare two, write their documentation"

EPILOG = """\
example:
  python -m host_sim settings export --out my_machine.toml
  python -m host_sim settings import-check my_machine.toml
  python -m host_sim settings diff my_machine.toml spring.toml --units us

Exit status: 0; 1 where `diff` found a difference or `docs --check` an old file; 2 for bad input.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add one subcommand for each thing that can be done."""
    parser.epilog = EPILOG
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    export = _command(commands, "export", export_file, "write all settings, at their defaults")
    export.add_argument("--from", dest="base", type=Path, metavar="FILE",
                        help="these settings in place of the defaults")
    export.add_argument("--out", type=Path, metavar="FILE", help="file to write (default: print)")
    check = _command(commands, "import-check", check_file, "say whether a file can be imported")
    check.add_argument("file", type=Path, metavar="FILE")
    diff = _command(commands, "diff", diff_files, "say what differs between two files")
    diff.add_argument("old", type=Path, metavar="OLD")
    diff.add_argument("new", type=Path, metavar="NEW")
    docs = _command(commands, "docs", write_docs, "write the reference pages made from tables")
    docs.add_argument("--check", action="store_true", help="only say whether they are up to date")


def _command(
    commands: Any, name: str, action: Callable[[argparse.Namespace], int], text: str
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=text, description=text)
    parser.add_argument("--units", choices=("si", "us"), default="si",
                        help="of bare numbers in quotes and of what is shown (default: si)")
    parser.set_defaults(action=action)
    return parser


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says."""
    status: int = args.action(args)
    return status


def export_file(args: argparse.Namespace) -> int:
    """Write or print a settings file."""
    from host_sim.common.output import write_files
    from host_sim.common.settings_file import load, to_toml
    from rate_control.settings import Settings

    us = args.units == "us"
    text = to_toml(load(args.base) if args.base else Settings(), us)
    if args.out:
        write_files(args.out.parent, {args.out.name: text})
    else:
        sys.stdout.write(text)
    return 0


def check_file(args: argparse.Namespace) -> int:
    """Say that a file is good, and what in it is not the default."""
    from host_sim.common.errors import plain
    from host_sim.common.settings_file import differences, load
    from rate_control.settings import Settings

    us = args.units == "us"
    settings = load(args.file)
    rows = differences(Settings(), settings, us)
    print(f"{plain(args.file)}: can be imported; {_count(rows)} differ from the defaults")
    _print_rows(rows, "default", "file")
    return 0


def diff_files(args: argparse.Namespace) -> int:
    """Print what differs."""
    from host_sim.common.settings_file import differences, load

    us = args.units == "us"
    rows = differences(load(args.old), load(args.new), us)
    print(f"{_count(rows)} differ")
    _print_rows(rows, args.old.stem, args.new.stem)
    return 1 if rows else 0


def write_docs(args: argparse.Namespace) -> int:
    """Write the reference pages, or say which are not up to date."""
    from host_sim.build.reference_pages import DIRECTORY, pages
    from host_sim.common.output import write_files

    if not args.check:
        write_files(DIRECTORY, pages())
        return 0
    old = [DIRECTORY / name for name, text in pages().items()
           if not (DIRECTORY / name).exists()
           or (DIRECTORY / name).read_text(encoding="utf-8") != text]
    for path in old:
        print(f"{path}: is not up to date; run make docs", file=sys.stderr)
    return 1 if old else 0


def _count(rows: list[Change]) -> str:
    return f"{len(rows)} setting{'' if len(rows) == 1 else 's'}"


def _print_rows(rows: list[Change], old: str, new: str) -> None:
    if not rows:
        return
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from host_sim.common.errors import plain

    table = Table(box=None, pad_edge=False)
    for heading in ("setting", old, new, "difference"):
        table.add_column(Text(plain(heading)), overflow="fold")
    for row in rows:
        table.add_row(row.name, row.old, row.new, row.difference)
    Console().print(table)
