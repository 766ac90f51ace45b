"""`board`: put the firmware on a board, test it, and talk to it."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.common.unit_option import add_units, us_of

if TYPE_CHECKING:
    from host_sim.board.link_client import LinkClient
    from host_sim.board.mpremote_port import MpremotePort

HELP = "wires of a board; flash, test and watch it, read and set its settings, read its run log"

EPILOG = """\
example:
  python -m host_sim board wires --machine my_bar.toml
  python -m host_sim board flash --port /dev/ttyACM0
  python -m host_sim board check --port /dev/ttyACM0 --report selftest.txt
  python -m host_sim board flash --port /dev/ttyACM1 --rig
  python -m host_sim board check --port /dev/ttyACM0 --rig /dev/ttyACM1 --machine my_bar.toml
  python -m host_sim board monitor --port /dev/ttyACM0
  python -m host_sim board settings get --port /dev/ttyACM0 --machine my_bar.toml
  python -m host_sim board settings get --port /dev/ttyACM0 --aside
  python -m host_sim board settings set --port /dev/ttyACM0 --machine my_bar.toml
  python -m host_sim board log --port /dev/ttyACM0 --out runs.jsonl
  python -m host_sim board plan --port /dev/ttyACM0 --machine my_bar.toml --plan plan.csv
  python -m host_sim board fetch --port /dev/ttyACM0 --out out/fetched

Ports: `mpremote devs`. Exit status: 0; 1 where a check failed; 2 for bad input and
where no board answers.

caution: unplug pump and valves before `flash` and `check`. `check` switches every output on for
a moment. Nothing here can start the machine: that takes the switches at the machine itself.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add a subcommand for each thing that can be done with a board."""
    parser.epilog = EPILOG
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    wires = commands.add_parser("wires", help="list what has to be wired for a machine",
                                description="list what has to be wired for a machine; read "
                                            "hardware/wiring.md first")
    wires.add_argument("--machine", type=Path, metavar="FILE", required=True, help="machine file")
    wires.add_argument("--board", metavar="NAME",
                       help="board, as in firmware/boards (default: as fitted.board says, or rp2)")
    wires.set_defaults(action=list_wires)
    flash = _command(commands, "flash", flash_board, "build the firmware and put it on a board")
    flash.add_argument("--rig", action="store_true",
                       help="the bench rig's program instead: for a second board, RP2040 or RP2350")
    flash.add_argument("--source", action="store_true",
                       help="copy the source, not bytecode: larger, but easy to change there")
    check = _command(commands, "check", check_board, "guided self-test with loopback wires")
    check.add_argument("--report", type=Path, metavar="FILE", help="write the report there too")
    check.add_argument("--rig", metavar="PORT",
                       help="drive the board through the acceptance sequence instead, with the "
                            "bench rig at this port as its machine, and print the twin beside it")
    check.add_argument("--machine", metavar="MACHINE",
                       help="with --rig: machine file, or kind of machine, that the rig plays")
    check.add_argument("--short", action="store_true",
                       help="with --rig: leave the resetting of rates out")
    add_units(check, "with --rig: units of the table (default: those of the board)")
    monitor = _command(commands, "monitor", monitor_board, "show what the controller is doing")
    monitor.add_argument("--seconds", type=float, metavar="S", help="end after this time")
    add_units(monitor, "units of what is shown (default: those of the board)")
    settings = commands.add_parser("settings", help="read or set the settings",
                                   description="carry a machine file to a board and back")
    ways = settings.add_subparsers(metavar="COMMAND", required=True)
    get = _command(ways, "get", get_settings, "read the settings of the board")
    get.add_argument("--machine", type=Path, metavar="FILE",
                     help="machine file that takes them, made where there is none; FILE.before "
                          "keeps what it held (default: print one)")
    get.add_argument("--aside", action="store_true",
                     help="those that were put aside, since the board's firmware cannot use them")
    send = _command(ways, "set", set_settings, "send settings; all are taken, or none")
    send.add_argument("--machine", type=Path, metavar="FILE", required=True,
                      help="machine file with the settings")
    log = _command(commands, "log", board_log, "read the run log, one JSON object a line")
    log.add_argument("--out", type=Path, metavar="FILE", help="write it there (default: print)")
    _trial_commands(commands)


def _trial_commands(commands: Any) -> None:
    plan = _command(commands, "plan", send_plan, "put the plan of a field trial on a board")
    plan.add_argument("--plan", type=Path, metavar="FILE", required=True, help="plan (CSV)")
    plan.add_argument("--machine", type=Path, metavar="FILE", required=True,
                      help="machine file that has to fit the plan")
    plan.add_argument("--by", choices=("implement", "distance", "key"),
                      help="what begins a plot (default: the implement where it can, else the "
                           "distance from where it comes down)")
    fetch = _command(commands, "fetch", fetch_record,
                     "bring home what a board kept: plots, and the trace of a card")
    fetch.add_argument("--out", type=Path, metavar="DIR", required=True, help="folder to write")


def send_plan(args: argparse.Namespace) -> int:
    """Send a plan; it is read back, and the board begins it only by its own keys."""
    from host_sim.board.mpremote_port import MpremotePort
    from host_sim.board.trial_files import send
    from host_sim.field_trial.fit import check_machine
    from host_sim.field_trial.plan_binary import board_plan
    from host_sim.field_trial.plan_file import read_plan
    from host_sim.machine_file.machine import load_machine

    plan, machine = read_plan(args.plan), load_machine(args.machine)
    check_machine(args.plan, plan, machine)
    data = board_plan(args.plan, plan, sum(machine.settings.widths_mm()) / 1000, args.by)
    send(MpremotePort(args.port), data)
    _tell(f"{len(plan.plots)} plots, {len(data)} bytes; begin it at the machine: menu, trial")
    return 0


def fetch_record(args: argparse.Namespace) -> int:
    """Bring home the record of plots, as it is and as a table, and the trace of a card."""
    from host_sim.board.mpremote_port import BoardError, MpremotePort
    from host_sim.board.trial_files import fetch, keep
    from host_sim.common.errors import plain
    from host_sim.common.output import check_directory
    from host_sim.runs.plot_record import record_files

    check_directory(args.out)
    port = MpremotePort(args.port)
    port.identify()
    try:
        traced = fetch_card(port, args.out)
        try:
            fetched = fetch(port)
        except BoardError as error:
            if not traced:
                raise
            _tell(f"no plots: {error}")
            return 0
        files, record = record_files(fetched)
        for path in keep(args.out, files):
            print(plain(path))
    finally:
        port.do("reset")  # the board starts anew
    if record.damaged:
        _tell(f"{record.damaged} lines are not whole and are left out of the table")
    if record.settings is None:
        _tell("the board keeps no settings: what the figures rest on is not known")
    return 0


def fetch_card(port: MpremotePort, folder: Path) -> bool:
    """Bring home the trace of a card as recordings; whether there is one."""
    from host_sim.board.card_home import NoTrace, fetch_trace
    from host_sim.common.progress import progress
    from host_sim.verbs.card import write_recordings

    try:
        with progress("fetching the card") as tell:
            path = fetch_trace(port, folder, tell)
    except NoTrace as error:
        _tell(str(error))
        return False
    return path is not None and write_recordings(path, folder)


def _command(
    commands: Any, name: str, action: Callable[[argparse.Namespace], int], text: str
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=text, description=text)
    parser.add_argument("--port", required=True, metavar="PORT", help="serial port of the board")
    parser.set_defaults(action=action)
    return parser


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says. Whatever is wrong with the link is one line, like bad input."""
    from host_sim.board.link_client import LinkError
    from host_sim.common.errors import InputError

    try:
        status: int = args.action(args)
    except LinkError as error:
        raise InputError(f"{args.port}: {error}") from error
    return status


def list_wires(args: argparse.Namespace) -> int:
    """Print the wires of a machine."""
    from host_sim.board.wires import board_of, wire_lines
    from host_sim.common.errors import InputError, plain
    from host_sim.hardware.boards import names
    from host_sim.machine_file.machine import load_machine

    machine = load_machine(args.machine)
    board = args.board or board_of(machine)
    if board not in names():
        raise InputError(f"--board: must be one of {', '.join(names())}, is '{board}'")
    for line in list(wire_lines(machine, board)):
        print(plain(line))
    return 0


def flash_board(args: argparse.Namespace) -> int:
    """Flash; what happens is told on stderr."""
    from host_sim.board.flash import flash
    from host_sim.board.mpremote_port import MpremotePort

    flash(MpremotePort(args.port), _tell, args.source, args.rig)
    return 0


def check_board(args: argparse.Namespace) -> int:
    """Run the self-test and print its report; or, with --rig, the acceptance sequence."""
    if args.rig or args.machine or args.short:
        return check_with_rig(args)
    from host_sim.board.check import SelfTest
    from host_sim.board.mpremote_port import MpremotePort
    from host_sim.common.output import write_files

    ask = input if sys.stdin.isatty() else None
    test = SelfTest(MpremotePort(args.port), print, ask)
    test.run()
    counts = {word: sum(line.startswith(word) for line in test.lines)
              for word in ("PASS", "SKIP", "FAIL")}
    summary = ", ".join(f"{count} {word}" for word, count in counts.items())
    print(summary)
    if args.report:
        write_files(args.report.parent, {args.report.name: "\n".join([*test.lines, summary, ""])})
    return 1 if test.failed else 0


def check_with_rig(args: argparse.Namespace) -> int:
    """Drive the board on the bench rig, and print its table beside the twin's."""
    from host_sim.board.link_port import SerialPort, open_serial
    from host_sim.board.rig_check import check_on_rig
    from host_sim.board.rig_line import RigLine
    from host_sim.board.rig_text import rig_text
    from host_sim.common.errors import InputError
    from host_sim.common.output import check_directory, write_files
    from host_sim.common.progress import progress
    from host_sim.machine_file.choice import chosen

    if not args.rig or not args.machine:
        raise InputError("--rig PORT and --machine MACHINE go together: which machine does the "
                         "rig play, and where is it?")
    if args.rig == args.port:
        raise InputError("--rig: is the port of the board itself; the rig is a second board")
    machine = chosen(args.machine)
    if args.report:
        check_directory(args.report.parent)
    client = _client(args.port)
    open_serial(args.rig).close()
    with progress("on the bench rig") as tell:
        outcome = check_on_rig(machine.name, machine.spec, client, RigLine(SerialPort(args.rig)),
                               tell, args.short)
    text = rig_text(outcome, us_of(args, bool(outcome.trial.settings.us_units)))
    print(text)
    if args.report:
        write_files(args.report.parent, {args.report.name: text + "\n"})
    return 1 if outcome.behind else 0


def monitor_board(args: argparse.Namespace) -> int:
    """Print a line a second until Ctrl-C."""
    client = _client(args.port)
    us = us_of(args, bool(client.ask("settings.get")["values"]["us_units"]))
    hello = client.ask("hello")
    _tell(f"firmware {hello['firmware']} on {hello['board']}, last reset: {hello['reset']}")
    end_s = None if args.seconds is None else time.monotonic() + args.seconds
    while end_s is None or time.monotonic() < end_s:
        print(status_line(client.ask("status"), us), flush=True)
        time.sleep(1.0)
    return 0


def status_line(status: dict[str, Any], us: bool) -> str:
    """What the controller is doing, in one line."""
    from app.units_text import to_text, with_unit

    rate = "rate_ml_ha"
    sections = f"{status['section_mask']:08b}"[::-1]
    words = [
        f"{status['state']:8}",
        f"{with_unit('speed_mm_s', status['speed_mm_s'], us):>10}",
        f"{with_unit('flow_ul_s', status['flow_ul_s'], us):>13}",
        f"{to_text(rate, status['applied_ml_ha'], us):>7} of "
        f"{with_unit(rate, status['rate_ml_ha'], us)}",
        f"duty {with_unit('duty_u16', status['duty_u16'], us):>7}",
        f"sections {sections}",
    ]
    if status["faults"]:
        words.append("faults: " + ", ".join(status["faults"]))
    elif status["missing"]:
        words.append("missing: " + ", ".join(map(str, status["missing"])))
    return "  ".join(words)


def get_settings(args: argparse.Namespace) -> int:
    """Print the settings as a machine file, or put what differs into one."""
    from host_sim.common.errors import InputError
    from host_sim.common.output import write_files
    from host_sim.machine_file.keeping import differing, keep, new_text
    from host_sim.machine_file.machine import load_machine

    there = args.machine and args.machine.exists()
    machine = load_machine(args.machine) if there else None  # a bad file ends it before any request
    client = _client(args.port)
    if args.aside:
        settings, how = _settings_aside(client), "put aside on the board"
    elif client.ask("status")["settings"] == "lost":
        raise InputError(f"{args.port}: the board has lost settings and would give defaults; put "
                         "yours back with: board settings set; what there was may be in: "
                         "board settings get --aside")
    else:
        settings, how = _sound(client.ask("settings.get")["values"]), "read from the board"
    if machine:
        found = differing(machine.settings, settings)
        if found:
            keep(args.machine, found, how)
        _tell(f"{args.machine}: {len(found)} settings changed")
        return 0
    us = bool(settings.us_units)
    title = args.machine.name.split(".")[0].replace("_", " ") if args.machine else "from the board"
    text = new_text(title, us, settings, how=how)
    if args.machine:
        write_files(args.machine.parent, {args.machine.name: text})
    else:
        sys.stdout.write(text)
    return 0


def set_settings(args: argparse.Namespace) -> int:
    """Send the settings of a machine file."""
    from host_sim.board.link_client import Refused
    from host_sim.common.errors import InputError
    from host_sim.machine_file.machine import load_machine
    from host_sim.machine_file.values import in_keys

    machine = load_machine(args.machine)  # a bad file ends it before any request
    try:
        _client(args.port).ask("settings.set", values=machine.settings.as_dict())
    except Refused as refused:
        raise InputError(*(f"{args.port}: {in_keys(problem, machine.us)}"
                           for problem in refused.problems or [refused.word])) from refused
    _tell("taken; the master switch must be seen off, then on")
    return 0


def _settings_aside(client: LinkClient) -> Any:
    """The settings that were put aside on the board; those that are not known here are told."""
    from host_sim.common.errors import InputError
    from rate_control.settings import row

    values = client.ask("settings.aside")["values"]
    if not values:
        raise InputError("the board has put no settings aside that its firmware can read")
    for name in values:
        if row(name) is None and name != "settings_state":
            _tell(f"not known here: {name} = {values[name]}")
    return _sound(values)


def _sound(values: dict[str, Any]) -> Any:
    """Settings of a board, checked; those that this version does not know are left out."""
    from rate_control.settings import build, row

    settings, problems = build({name: values[name] for name in values if row(name)})
    if problems:
        from host_sim.common.errors import InputError
        from host_sim.machine_file.values import in_keys

        raise InputError("the board's settings are not valid here: "
                         + "; ".join(in_keys(line, False) for line in problems))
    return settings


def board_log(args: argparse.Namespace) -> int:
    """Read every run that is kept, oldest first."""
    from host_sim.common.output import write_files

    text = "".join(json.dumps(entry) + "\n" for entry in read_log(_client(args.port)))
    if args.out:
        write_files(args.out.parent, {args.out.name: text})
    else:
        sys.stdout.write(text)
    return 0


def read_log(client: LinkClient) -> list[dict[str, Any]]:
    """Ask for page after page."""
    from app.link_frame import SEQUENCE_MASK

    runs: list[dict[str, Any]] = []
    start = 0
    while page := client.ask("log.read", **{"from": start})["runs"]:
        runs += page
        start = page[-1]["run"] + 1 & SEQUENCE_MASK
    return runs


def _client(port: str) -> LinkClient:
    """A client on the port. Raises InputError where it cannot be opened."""
    from host_sim.board.link_client import LinkClient
    from host_sim.board.link_port import SerialPort, open_serial

    open_serial(port).close()
    return LinkClient(lambda: SerialPort(port))


def _tell(text: str) -> None:
    print(text, file=sys.stderr)
