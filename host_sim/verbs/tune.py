"""`python -m host_sim tune`: pump curve and step test on a machine, and what follows from them."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.common.unit_option import add_units, us_of

if TYPE_CHECKING:
    from host_sim.machine_file.choice import Chosen
    from host_sim.trials.commissioning.commission import Keep, Wish
    from host_sim.trials.commissioning.performed import Performed
    from host_sim.trials.tuning.session import Tuned

HELP = "tune a machine by measuring it: pump curve, step test, gains and margins"
DEFAULT = "electric_m"

EPILOG = """\
Runs the firmware's own pump curve and step test on the bench of a simulated machine, or with
--port on a real one. Prints what was learned, the gains that follow, the margins, and the settling
time asked for and given. With --into it goes into a machine file, each procedure as soon as it is
finished; what the file held is kept beside it as FILE.before. With --out it draws tune.png.

MACHINE is the name of a kind (docs/reference/machines.md), set up as a careful owner would, or a
machine file (docs/reference/machine_file.md).

With --port the board at that port does it. Nothing here can start its pump: both procedures are
only prepared, each is confirmed at the machine, and its result is kept there: docs/how_to/tune.md.

caution: the pump then runs up to full flow and pressure by itself. Clean water only, nobody near
the outlets, a hand at the master switch.

examples:
  python -m host_sim tune electric_m
  python -m host_sim tune bypass_pd --settling "2 s" --out out/tune
  python -m host_sim tune my_bar.toml --speed "8 km/h" --rate "100 L/ha" --into my_bar.toml
  python -m host_sim tune --port /dev/ttyACM0 --settling "1 s" --into my_bar.toml --out out/tune
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    which = parser.add_mutually_exclusive_group()
    which.add_argument("machine", nargs="?", default=DEFAULT, metavar="MACHINE",
                       help=f"kind of machine, or a machine file (default {DEFAULT})")
    which.add_argument("--port", metavar="PORT", help="serial port of a board")
    parser.add_argument("--settling", metavar="TIME", default="1.5 s",
                        help='settling time wanted, as "1.5 s" (default)')
    parser.add_argument("--speed", metavar="SPEED",
                        help='working speed, as "8 km/h" or "5 mph" (default: half the top flow)')
    parser.add_argument("--rate", metavar="RATE",
                        help='application rate, as "100 L/ha" or "10 gal/ac"')
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="seed (default 1)")
    add_units(parser, "of bare numbers and of what is shown (default: of the machine file, "
                      "or metric)")
    parser.add_argument("--into", type=Path, metavar="FILE",
                        help="machine file that takes what is learned")
    parser.add_argument("--out", type=Path, metavar="DIR", help="draw tune.png here")


def run(args: argparse.Namespace) -> int:
    from host_sim.board.link_client import LinkError
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_directory, write_whole
    from host_sim.machine_file.choice import chosen
    from host_sim.machine_file.machine import load_machine
    from host_sim.trials.commissioning.performed import BenchError
    from host_sim.trials.tuning.chart import draw
    from host_sim.trials.tuning.table import tuned_text

    machine = None if args.port else chosen(args.machine)
    into = load_machine(args.into) if args.into else None  # a bad file ends it before the work
    file = (machine and machine.file) or into
    us = us_of(args, bool(file and file.us))
    wish = _wish(args, us)
    if args.out:
        check_directory(args.out)
    try:
        tuned = (_on_twin(machine, args, wish) if machine else _on_board(args, wish))
    except (BenchError, LinkError) as error:
        raise InputError(f"{args.port or args.machine}: {error}") from error
    written = [args.into] if args.into else []
    if args.out:
        written.append(
            write_whole(args.out / "tune.png", lambda part: draw(tuned, part, ".png", us)))
    print("\n".join([tuned_text(tuned, us), *map(plain, written)]))
    return 0 if tuned.margins.enough else 1


def _on_twin(machine: Chosen, args: argparse.Namespace, wish: Wish) -> Tuned:
    from host_sim.common.progress import progress
    from host_sim.trials.tuning.session import tune_machine

    keep = _keeper(args.into, f"on the bench of the twin of {machine.name}")
    with progress("measuring") as tell:
        return tune_machine(machine.name, machine.spec, machine.entered, args.seed, wish, tell,
                            keep)


def _on_board(args: argparse.Namespace, wish: Wish) -> Tuned:
    from host_sim.board.link_client import LinkClient
    from host_sim.board.link_port import SerialPort, open_serial
    from host_sim.common.progress import progress
    from host_sim.trials.tuning.session import tune_board

    open_serial(args.port).close()
    keep = _keeper(args.into, "on the bench of the machine")
    with progress("measuring") as tell:
        return tune_board(args.port, LinkClient(lambda: SerialPort(args.port)), wish, _say, tell,
                          keep)


def _keeper(path: Path | None, how: str) -> Keep:
    """What puts each finished procedure into the machine file; the first leaves a copy of it."""
    kept: list[str] = []

    def keep(performed: Performed) -> None:
        from host_sim.machine_file.keeping import keep

        if path:
            keep(path, performed.proposal, how, beside=not kept)
            kept.append(performed.name)

    return keep


def _say(text: str) -> None:
    print(text, file=sys.stderr)


def _wish(args: argparse.Namespace, us: bool) -> Wish:
    from host_sim.common import units
    from host_sim.common.errors import InputError
    from host_sim.trials.commissioning.commission import Wish, step_limits
    from rate_control.settings import HIGH, LOW, row

    rate = row("rate_ml_ha")
    given = {}
    for option, quantity, text, (low, high) in (
            ("--settling", "time_ms", args.settling, step_limits("settling_time_ms")),
            ("--speed", "speed_mm_s", args.speed, step_limits("speed_mm_s")),
            ("--rate", "rate_ml_ha", args.rate, (rate[LOW], rate[HIGH]))):
        if text is None:
            continue
        try:
            given[option] = units.whole(quantity, text, us, low, high)
        except ValueError as error:
            raise InputError(f"{option}: {error}") from error
    return Wish(settling_s=given["--settling"] / 1e3,
                speed_m_s=given["--speed"] / 1e3 if "--speed" in given else None,
                rate_ml_ha=given.get("--rate"), us=us if args.units else None)
