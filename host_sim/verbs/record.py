"""`python -m host_sim record`: keep what a board streams; make a run out of it."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host_sim.board.recorder import Tally

HELP = "record what a board streams over the link"

EPILOG = """\
Recording ends with Ctrl-C. What has come is on the disk a second later; a line that is lost is
opened again and the gap is noted. Recording into a file that is there goes on behind its end.
With --from, a recording becomes a run: run.csv and summary.json in a directory.

examples:
  python -m host_sim record --port /dev/ttyACM0 --out field.rec
  python -m host_sim record --port /dev/ttyUSB0 --baud 57600 --every 1 --out field.rec
  python -m host_sim record --from field.rec --out out/field
"""

EVERY_MAX = 200


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--port", metavar="PORT", help="serial port of the board")
    source.add_argument("--from", dest="recording", type=Path, metavar="FILE",
                        help="recording to make a run out of")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE",
                        help="recording to write or to go on with (with --from: a directory)")
    parser.add_argument("--every", type=ticks, default=2, metavar="TICKS",
                        help="one record in so many ticks of 50 ms (default 2)")
    parser.add_argument("--baud", type=int, default=115_200, metavar="N",
                        help="speed of a UART (default 115200); USB does not care")
    parser.add_argument("--seconds", type=float, metavar="S", help="end after this time")


def ticks(text: str) -> int:
    """A number of ticks from the command line."""
    value = int(text)
    if not 1 <= value <= EVERY_MAX:
        raise argparse.ArgumentTypeError(f"must be 1 to {EVERY_MAX}, is {value}")
    return value


def run(args: argparse.Namespace) -> int:
    return _make_run(args.recording, args.out) if args.recording else _record(args)


def _make_run(recording: Path, directory: Path) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import check_directory, write_files
    from host_sim.runs.files import RUN_CSV, SUMMARY_JSON, summary_json
    from host_sim.runs.record import to_csv
    from host_sim.runs.recording_run import run_of
    from host_sim.runs.summary import summarise

    check_directory(directory)
    record = run_of(recording)
    figures = summarise(record)
    for path in write_files(directory, {
        RUN_CSV: to_csv(record),
        SUMMARY_JSON: summary_json(record, figures),
    }):
        print(plain(path))
    return 0


def _record(args: argparse.Namespace) -> int:
    from host_sim.board.link_client import LinkClient, LinkError
    from host_sim.board.link_port import SerialPort, open_serial
    from host_sim.board.recorder import Recorder
    from host_sim.common.errors import plain
    from host_sim.runs.recording_file import RecordingFile, RecordingStopped

    open_serial(args.port, args.baud).close()  # a wrong name ends it before anything is written
    file = RecordingFile(args.out)
    if file.cut_off:
        _tell(f"{args.out}: a torn last line of {file.cut_off} bytes was cut off")
    client = LinkClient(lambda: SerialPort(args.port, args.baud))
    recorder = Recorder(client, file, args.port, _tell, args.every)
    status = 0
    try:
        recorder.run(_Until(args.seconds, recorder.tally))
    except (RecordingStopped, LinkError) as stopped:
        _tell(str(stopped))
        status = 1
    print(f"{plain(args.out)}: {_summary(recorder.tally)}")
    return status if recorder.tally.records else 1


class _Until:
    """Says when to stop: after some seconds, or at Ctrl-C; shows on a terminal how it goes."""

    def __init__(self, seconds: float | None, tally: Tally) -> None:
        import signal

        self._end_s = None if seconds is None else time.monotonic() + seconds
        self._tally = tally
        self._shown_s = time.monotonic()
        self._interrupted = False
        signal.signal(signal.SIGINT, self._interrupt)
        signal.signal(signal.SIGTERM, self._interrupt)

    def _interrupt(self, *_: object) -> None:
        self._interrupted = True

    def __call__(self) -> bool:
        now_s = time.monotonic()
        if now_s - self._shown_s >= 1.0 and sys.stderr.isatty():
            self._shown_s = now_s
            print(f"\r{_summary(self._tally)}  (Ctrl-C ends it)", end="", file=sys.stderr)
        return self._interrupted or (self._end_s is not None and now_s >= self._end_s)


def _tell(text: str) -> None:
    from host_sim.common.errors import plain

    start = "\r" if sys.stderr.isatty() else ""
    print(f"{start}{plain(text)}", file=sys.stderr, flush=True)


def _summary(tally: Tally) -> str:
    text = f"{tally.records} records"
    if tally.gaps:
        text += f", {tally.gaps} gaps of {tally.missing_s:.0f} s in all"
    if tally.dropped:
        text += f", {tally.dropped} left out by the board"
    if tally.bad_lines:
        text += f", {tally.bad_lines} damaged lines"
    return text
