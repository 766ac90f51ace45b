"""Is it to be trusted on a bad day? `make trust`, or one run of it again."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

from host_sim.common.errors import InputError
from host_sim.common.output import check_directory, write_files
from host_sim.common.parallel import executor
from host_sim.trials.trust import session
from host_sim.trials.trust.case import parse, run_case
from host_sim.trials.trust.clean import HOURS, drive_clean
from host_sim.trials.trust.matrix import failures

EXIT_BAD_INPUT = 2
EPILOG = """\
Exit status: 0 if every promise held and nothing raised a false alarm, 1 if not, 2 for bad input.
A failure is printed as the command that repeats it.

examples:
  python -m host_sim.trials.trust --out out/trust.json
  python -m host_sim.trials.trust --share 0.02 --hours 2
  python -m host_sim.trials.trust --case stuck_meter+leak/applying/inline_pd
  python -m host_sim.trials.trust --clean 537
"""


def main(argv: list[str] | None = None) -> int:
    """Run one command line; returns the exit status."""
    args = _parser().parse_args(argv)
    try:
        if args.case:
            return _again(args.case)
        if args.clean is not None:
            return _clean_again(args.clean)
        return _all(args)
    except InputError as error:
        print(f"{session.COMMAND}: {error}", file=sys.stderr)
        return EXIT_BAD_INPUT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=session.COMMAND, description=__doc__, epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, metavar="FILE", help="write the figures here, as JSON")
    parser.add_argument("--share", type=_share, default=1.0, metavar="S",
                        help="try this share of the cases, 0 to 1 (default: all)")
    parser.add_argument("--hours", type=_hours, default=HOURS, metavar="H",
                        help=f"clean hours to drive (default {HOURS})")
    parser.add_argument("--workers", type=_hours, metavar="W",
                        help="processes to use (default: one a core)")
    again = parser.add_mutually_exclusive_group()
    again.add_argument("--case", metavar="FAULT[+FAULT]/STATE/MACHINE", help="repeat one run")
    again.add_argument("--clean", type=int, metavar="SEED", help="repeat one clean hour")
    return parser


def _share(text: str) -> float:
    share = float(text)
    if not 0.0 < share <= 1.0:
        raise argparse.ArgumentTypeError(f"must be above 0 and at most 1, got {text}")
    return share


def _hours(text: str) -> int:
    hours = int(text)
    if hours < 1:
        raise argparse.ArgumentTypeError(f"must be at least 1, got {text}")
    return hours


def _all(args: argparse.Namespace) -> int:
    if args.out:
        check_directory(args.out.parent)
    start = time.monotonic()
    parts: dict[str, session.TrustPart] = {}
    with executor(args.workers) as pool:
        parts["faults"] = _printed(session.try_singles(args.share, pool))
        parts["pairs"] = _printed(session.try_pairs(args.share, pool))
        parts["false_alarms_per_clean_hour"] = _printed(session.try_hours(args.hours, pool))
    for key in ("states", "mutants", "fuzz"):
        parts[key] = _printed(session.other_part(key, args.share))
    failed = [failure for part in parts.values() for failure in part.failed]
    for command, wrong in failed:
        print(f"{command}  # {wrong}")
    if args.out:
        figures = {name: part.figures for name, part in parts.items()}
        figures["wall_seconds"] = {"count": round(time.monotonic() - start)}
        text = json.dumps(figures, indent=1) + "\n"
        print(write_files(args.out.parent, {args.out.name: text})[0])
    return 1 if failed else 0


def _printed(part: session.TrustPart) -> session.TrustPart:
    """Print a part as soon as it is done, for the whole takes more than an hour."""
    if part.table:
        print(part.table + "\n")
    print(part.line, flush=True)
    return part


def _again(text: str) -> int:
    outcome = run_case(parse(text))
    wrong = failures(outcome)
    told = "nothing" if outcome.noticed_s is None else f"{outcome.noticed_s:.2f} s"
    off = "no" if outcome.safe_s is None else f"{outcome.safe_s:.2f} s"
    print(f"{outcome.case}: shown {', '.join(outcome.shown) or 'nothing'}; told {told}; "
          f"outputs off {off}")
    for line in wrong:
        print(line)
    return 1 if wrong else 0


def _clean_again(seed: int) -> int:
    hour = drive_clean(seed)
    print(f"seed {seed}, {hour.kind}: {hour.failure or f'{hour.hours:.2f} h'}")
    for time_s, name in hour.alarms:
        print(f"{name} at {time_s:g} s")
    for line in hour.broken:
        print(line)
    return 1 if hour.alarms or hour.broken else 0


if __name__ == "__main__":
    sys.exit(main())
