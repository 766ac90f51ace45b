"""`python -m host_sim card`: prepare an SD card for a board's trace, and make recordings of it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host_sim.runs.card_trace import CardSession

HELP = "prepare an SD card for the trace of a board, and make recordings of what it brings home"

EPILOG = """\
prepare puts trace.bin on a card with FAT32, on which nothing else should be yet; the board finds
it there and fills it. read makes a recording of each session in it, from one start of the board to
the next; record, report, map and application-record take them as any other.

examples:
  python -m host_sim card prepare --to /media/me/FIELD
  python -m host_sim card prepare --to /media/me/FIELD --hours 400
  python -m host_sim card read --from /media/me/FIELD --out out/card
  python -m host_sim report out/card/trace_0000001.rec

How it is wired and what it tells: docs/how_to/keep_the_trace_on_a_card.md.
Exit status: 0, or 2 for bad input.
"""

HOURS = 100
HOURS_MAX = 900  # a file on FAT32 has less than 4 GiB


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    text = "put an empty trace.bin on a card"
    prepare = commands.add_parser("prepare", help=text, description=text)
    prepare.add_argument("--to", type=Path, required=True, metavar="DIR",
                         help="where the card is mounted: its topmost folder")
    prepare.add_argument("--hours", type=hours, default=HOURS, metavar="H",
                         help=f"hours that it is to hold, 1 to {HOURS_MAX} (default {HOURS})")
    prepare.set_defaults(action=prepare_card)
    text = "make recordings of what a board wrote"
    read = commands.add_parser("read", help=text, description=text)
    read.add_argument("--from", dest="card", type=Path, required=True, metavar="PATH",
                      help="folder of the card, or its trace.bin, or a copy of that")
    read.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write")
    read.set_defaults(action=read_card)


def hours(text: str) -> int:
    """A number of hours from the command line."""
    value = int(text)
    if not 1 <= value <= HOURS_MAX:
        raise argparse.ArgumentTypeError(f"must be 1 to {HOURS_MAX}, is {value}")
    return value


def run(args: argparse.Namespace) -> int:
    status: int = args.action(args)
    return status


def prepare_card(args: argparse.Namespace) -> int:
    """Write the file, which must not be there yet."""
    from host_sim.common.errors import plain
    from host_sim.common.progress import progress
    from host_sim.runs.card_trace import FILE_NAME, SECTORS_AN_HOUR, write_empty

    path = args.to / FILE_NAME
    with progress("preparing the card") as tell:
        size = write_empty(path, args.hours * SECTORS_AN_HOUR, tell)
    print(f"{plain(path)}: {size:,} bytes, {args.hours} hours; take the card out as your computer "
          "wants it")
    return 0


def read_card(args: argparse.Namespace) -> int:
    """Write a recording for each session."""
    from host_sim.common.errors import InputError
    from host_sim.common.output import check_directory
    from host_sim.runs.card_trace import trace_file

    path = trace_file(args.card)
    check_directory(args.out)
    if not write_recordings(path, args.out):
        raise InputError(f"{path}: no session is in it that is whole")
    return 0


def write_recordings(path: Path, folder: Path) -> bool:
    """Write a recording for each session of a trace, and say so; whether there is one.

    The file is read to its end before any is written. Raises InputError where the folder has
    recordings of another card: its sessions have the same names.
    """
    from host_sim.common.errors import plain
    from host_sim.common.output import write_bytes
    from host_sim.runs.card_trace import read_sessions, recording_name, recording_of

    usable = []
    for session in read_sessions(path):
        if session.usable:
            _check_same(session, folder)
            usable.append(session.place)
    for session in read_sessions(path) if usable else ():
        if session.place not in usable:
            print(f"{plain(path)}: sector {session.place}: a session without its texts or without "
                  "records is left out", file=sys.stderr)
            continue
        file = folder / recording_name(session)
        write_bytes({file: recording_of(session)})
        damaged = f", {session.damaged} sectors are damaged" if session.damaged else ""
        print(f"{plain(file)}: {session.records} records{damaged}")
    return bool(usable)


def _check_same(session: CardSession, folder: Path) -> None:
    """Raise InputError where the name of its recording is that of another session."""
    from host_sim.common.errors import InputError
    from host_sim.common.reading import read_bytes
    from host_sim.runs.card_trace import LARGEST_BYTES, is_of, recording_name, recording_of

    file = folder / recording_name(session)
    if file.exists() and not is_of(
            read_bytes(file, LARGEST_BYTES), recording_of(session)):
        raise InputError(f"{file}: is there already and is not of this card: give another folder")
