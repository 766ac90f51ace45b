"""`python -m host_sim tune`: pump curve and step test on a machine, and what follows from them."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host_sim.plant.spec import MachineSpec
    from host_sim.trials.commissioning.commission import Wish
    from host_sim.trials.tuning.session import Tuned

HELP = "tune a machine by measuring it: pump curve, step test, gains and margins"
DEFAULT = "electric_m"

EPILOG = """\
Runs the firmware's own pump curve and step test on the bench of a simulated machine, or with
--port on a real one. Prints what was learned, the gains that follow, the margins, and the settling
time asked for and given. With --out it writes tune.png and tune.toml: a [controller] fragment for a
scenario.

MACHINE is the name of a kind (docs/reference/machines.md), set up as a careful owner would, or a
scenario file, whose machine and settings are used.

With --port the board at that port does it. Nothing here can start its pump: both procedures are
only prepared, each is confirmed at the machine, and its result is kept there: docs/how_to/tune.md.

caution: the pump then runs up to full flow and pressure by itself. Clean water only, nobody near
the outlets, a hand at the master switch.

examples:
  python -m host_sim tune electric_m
  python -m host_sim tune bypass_pd --settling "2 s" --out out/tune
  python -m host_sim tune my.toml --speed "8 km/h" --rate "100 L/ha" --out out/tune
  python -m host_sim tune --port /dev/ttyACM0 --settling "1 s" --out out/tune
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    which = parser.add_mutually_exclusive_group()
    which.add_argument("machine", nargs="?", default=DEFAULT, metavar="MACHINE",
                       help=f"kind of machine, or a scenario file (default {DEFAULT})")
    which.add_argument("--port", metavar="PORT", help="serial port of a board")
    parser.add_argument("--settling", metavar="TIME", default="1.5 s",
                        help='settling time wanted, as "1.5 s" (default)')
    parser.add_argument("--speed", metavar="SPEED",
                        help='working speed, as "8 km/h" or "5 mph" (default: half the top flow)')
    parser.add_argument("--rate", metavar="RATE",
                        help='application rate, as "100 L/ha" or "10 gal/ac"')
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="seed (default 1)")
    parser.add_argument("--units", choices=("si", "us"), default="si",
                        help="units of what is shown (default si)")
    parser.add_argument("--out", type=Path, metavar="DIR", help="write tune.png and tune.toml here")


def run(args: argparse.Namespace) -> int:
    from host_sim.board.link_client import LinkError
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_directory, write_files, write_whole
    from host_sim.trials.commissioning.performed import BenchError
    from host_sim.trials.tuning.chart import draw
    from host_sim.trials.tuning.table import fragment, tuned_text

    wish = _wish(args)
    if args.out:
        check_directory(args.out)
    try:
        tuned = _on_board(args.port, wish) if args.port else _on_twin(args, wish)
    except (BenchError, LinkError) as error:
        raise InputError(f"{args.port or args.machine}: {error}") from error
    us = args.units == "us"
    print(tuned_text(tuned, us))
    if args.out:
        print(plain(write_files(args.out, {"tune.toml": fragment(tuned)})[0]))
        picture = write_whole(args.out / "tune.png", lambda part: draw(tuned, part, ".png", us))
        print(plain(picture))
    return 0 if tuned.margins.enough else 1


def _on_twin(args: argparse.Namespace, wish: Wish) -> Tuned:
    from host_sim.common.progress import progress
    from host_sim.trials.tuning.session import tune_machine

    name, spec, entered = _machine(args.machine)
    with progress("measuring") as tell:
        return tune_machine(name, spec, entered, args.seed, wish, tell)


def _on_board(port: str, wish: Wish) -> Tuned:
    from host_sim.board.link_client import LinkClient
    from host_sim.board.link_port import SerialPort, open_serial
    from host_sim.common.progress import progress
    from host_sim.trials.tuning.session import tune_board

    open_serial(port).close()
    with progress("measuring") as tell:
        return tune_board(port, LinkClient(lambda: SerialPort(port)), wish, _say, tell)


def _say(text: str) -> None:
    print(text, file=sys.stderr)


def _machine(text: str) -> tuple[str, MachineSpec, dict[str, object] | None]:
    """Name, spec and, from a scenario, the settings that were entered."""
    from host_sim.common.errors import InputError
    from host_sim.plant.catalogue import KINDS, machine_spec
    from host_sim.twin.scenario import load_scenario

    if text in KINDS:
        return text, machine_spec(text), None
    if not text.endswith(".toml"):
        raise InputError(f"{text}: is neither a scenario file (.toml) nor one of "
                         f"{', '.join(KINDS)}")
    scenario = load_scenario(Path(text))
    return scenario.title, scenario.machine, scenario.settings.as_dict()


def _wish(args: argparse.Namespace) -> Wish:
    from app.units_typed import from_text
    from host_sim.common.errors import InputError
    from host_sim.trials.commissioning.commission import Wish

    given = {}
    for option, quantity, text in (("--settling", "time_ms", args.settling),
                                   ("--speed", "speed_mm_s", args.speed),
                                   ("--rate", "rate_ml_ha", args.rate)):
        if text is None:
            continue
        try:
            given[option] = from_text(quantity, text, args.units == "us")
        except ValueError as error:
            raise InputError(f"{option}: {error}") from error
    return Wish(settling_s=given["--settling"] / 1e3,
                speed_m_s=given["--speed"] / 1e3 if "--speed" in given else None,
                rate_ml_ha=given.get("--rate"))
