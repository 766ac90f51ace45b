"""`settings`: a machine file with all settings; check one, compare two, document them."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.common.unit_option import add_units, us_of

if TYPE_CHECKING:
    from host_sim.machine_file.values import Change

HELP = "write a machine file with all settings, check one, compare two, document them"

EPILOG = """\
example:
  python -m host_sim settings export --units us --out my_machine.toml
  python -m host_sim settings export --from old_settings.toml --out my_machine.toml
  python -m host_sim settings check my_machine.toml
  python -m host_sim settings diff spring.toml autumn.toml

Exit status: 0; 1 where `diff` found a difference or `docs --check` an old file; 2 for bad input.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add one subcommand for each thing that can be done."""
    parser.epilog = EPILOG
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    export = _command(commands, "export", export_file, "write a machine file with every setting")
    export.add_argument("--out", type=Path, metavar="FILE", help="file to write (default: print)")
    export.add_argument("--from", dest="earlier", type=Path, metavar="FILE",
                        help="settings file of an earlier version, whose values it takes")
    check = _command(commands, "check", check_file, "say whether a machine file is sound")
    check.add_argument("file", type=Path, metavar="FILE")
    diff = _command(commands, "diff", diff_files, "say what differs between two machine files")
    diff.add_argument("old", type=Path, metavar="OLD")
    diff.add_argument("new", type=Path, metavar="NEW")
    docs = _command(commands, "docs", write_docs, "write the reference pages made from tables")
    docs.add_argument("--check", action="store_true", help="only say whether they are up to date")


def _command(
    commands: Any, name: str, action: Callable[[argparse.Namespace], int], text: str
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=text, description=text)
    add_units(parser, "of a new file and of what is shown (default: of the file, or metric)")
    parser.set_defaults(action=action)
    return parser


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says."""
    status: int = args.action(args)
    return status


def export_file(args: argparse.Namespace) -> int:
    """Write or print a machine file with every setting, at its default or as once exported."""
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import write_files
    from host_sim.machine_file.earlier import load_earlier
    from host_sim.machine_file.keeping import new_text
    from rate_control.settings import Settings

    settings = load_earlier(args.earlier) if args.earlier else Settings()
    if args.out and args.out.exists():
        raise InputError(f"{args.out}: is there already")
    title = args.out.name.split(".")[0].replace("_", " ") if args.out else "My machine"
    how = f"as it was in {plain(args.earlier.name)}" if args.earlier else ""
    text = new_text(title, us_of(args, bool(settings.us_units)), settings, how=how)
    if args.out:
        write_files(args.out.parent, {args.out.name: text})
    else:
        sys.stdout.write(text)
    return 0


def check_file(args: argparse.Namespace) -> int:
    """Say that a file is good, and what in it is not the default."""
    from host_sim.common.errors import plain
    from host_sim.machine_file.machine import load_machine
    from host_sim.machine_file.twin_spec import spec_of
    from host_sim.machine_file.values import differences
    from rate_control.settings import Settings

    machine = load_machine(args.file)
    if machine.twin:
        spec_of(machine)
    rows = differences(Settings(), machine.settings, _us(args, machine.us))
    print(f"{plain(args.file)}: is sound; {_count(rows)} differ from the defaults")
    _print_rows(rows, "default", "file")
    return 0


def diff_files(args: argparse.Namespace) -> int:
    """Print what differs."""
    from host_sim.machine_file.machine import load_machine
    from host_sim.machine_file.values import differences

    old, new = load_machine(args.old), load_machine(args.new)
    rows = differences(old.settings, new.settings, _us(args, new.us))
    print(f"{_count(rows)} differ")
    _print_rows(rows, args.old.stem, args.new.stem)
    return 1 if rows else 0


def _us(args: argparse.Namespace, of_file: bool) -> bool:
    return us_of(args, of_file)


def write_docs(args: argparse.Namespace) -> int:
    """Write the reference pages, or say which are not up to date."""
    from host_sim import CHECKED_OUT
    from host_sim.common.errors import InputError

    if not CHECKED_OUT:
        raise InputError("docs: the pages are in the project's tree: run it in a checkout")
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
    from rich.table import Table
    from rich.text import Text

    from host_sim.common.errors import plain
    from host_sim.common.tables import console

    table = Table(box=None, pad_edge=False)
    for heading in ("setting", old, new, "difference"):
        table.add_column(Text(plain(heading)), overflow="fold", no_wrap=heading == "setting")
    for row in rows:
        table.add_row(row.name, row.old, row.new, row.difference)
    console().print(table)
