"""`python -m host_sim panel`: play with the twin, or watch a board, in the browser."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "play with the twin, or watch a board, in the browser"
LOOPBACK = "127.0.0.1"
TCP_PORT = 8250

EPILOG = """\
Serves one page to the browser of this computer. Without --port a simulated machine is behind
it: switch on, lower, drive, and see what the controller does. With --port the page shows a real
board; it can neither arm nor change it.

With --listen the page can be seen from other computers by who has the address that is printed:
it holds a token. The connection is not encrypted; use it on networks that you trust.

examples:
  python -m host_sim panel
  python -m host_sim panel host_sim/scenarios/plot_bar.toml
  python -m host_sim panel --machine my_bar.toml
  python -m host_sim panel --port /dev/ttyACM0
  python -m host_sim panel --listen 0.0.0.0
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("scenario", nargs="?", type=Path, metavar="SCENARIO",
                        help="scenario file (TOML): its machine, its settings, its speed trace")
    parser.add_argument("--machine", type=Path, metavar="FILE",
                        help="machine file, alone or in place of the one that the scenario "
                             "names")
    parser.add_argument("--out", type=Path, metavar="DIR",
                        help="directory for drives that are saved, each in a new directory "
                             "(default out/panel)")
    parser.add_argument("--port", metavar="DEV", help="show the board at this serial port")
    parser.add_argument("--listen", default=LOOPBACK, metavar="ADDRESS",
                        help=f"address to be seen at (default {LOOPBACK}: this computer only)")
    parser.add_argument("--tcp-port", type=tcp_port, default=TCP_PORT, metavar="N",
                        help=f"TCP port (default {TCP_PORT}; 0 takes any that is free)")


def tcp_port(text: str) -> int:
    """A TCP port from the command line."""
    value = int(text)
    if not 0 <= value <= 65535:
        raise argparse.ArgumentTypeError(f"must be 0 to 65535, is {value}")
    return value


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError
    from host_sim.panel.saver import OUT
    from host_sim.panel.start import board_session, serve, twin_session

    if args.port and (args.scenario or args.machine):
        raise InputError("give a scenario or --machine, or --port, not both")
    if args.port and args.out:
        raise InputError("--out is for drives of the twin: a board is recorded by the verb record")
    session = board_session(args.port) if args.port else twin_session(
        args.scenario, args.machine, args.out or OUT)
    return serve(session, args.listen, args.tcp_port)
