"""`python -m host_sim plots`: a field trial from its plan to its table."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.common.unit_option import add_units

if TYPE_CHECKING:
    from host_sim.field_trial.applied import Applied
    from host_sim.field_trial.plan import Plan
    from host_sim.field_trial.uncertainty import Knowledge

HELP = "lay out a field trial, check and draw its plan, drive it, and judge what was applied"

EPILOG = """\
examples:
  python -m host_sim plots new --design blocks --blocks 4 --seed 7 --treatment "A=60 L/ha" \\
      --treatment "B=80 L/ha" --treatment "C=100 L/ha" --length "10 m" --width "3.5 m" \\
      --alley "3 m" --out plan.csv --draw field.svg
  python -m host_sim plots check plan.csv
  python -m host_sim plots scenario plan.csv --machine my_bar.toml --speed "5 km/h" --out out/trial
  python -m host_sim plots applied plan.csv out/trial/run --out out/trial/applied

The how-to is docs/how_to/run_a_field_trial.md; what a plan may hold, docs/reference/plans.md.
Exit status: 0, or 2 for bad input.

caution: liquid under pressure and a machine that moves can hurt. The product label, local rules and
licensed practice prevail over anything printed here.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    _new(_command(commands, "new", "lay out a randomised design", _run_new))
    check = _command(commands, "check", "check a plan and say what is in it", _run_check)
    check.add_argument("plan", type=Path, metavar="PLAN", help="plan (CSV)")
    check.add_argument("--machine", type=Path, metavar="FILE",
                       help="machine file that has to fit the plan")
    check.add_argument("--draw", type=Path, metavar="FILE", help="draw the field: .svg or .png")
    _scenario(_command(commands, "scenario", "make the scenario of a drive over the plots",
                       _run_scenario))
    _applied(_command(commands, "applied", "judge what was applied on each plot", _run_applied))


def _command(commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, words: str,
             run: object) -> argparse.ArgumentParser:
    command: argparse.ArgumentParser = commands.add_parser(name, help=words, description=words)
    command.set_defaults(action=run)
    return command


def _new(command: argparse.ArgumentParser) -> None:
    from host_sim.field_trial.layout import ALLEY, LIFTS
    from host_sim.field_trial.request import DESIGNS
    from host_sim.verbs.drive import seed

    add = command.add_argument
    add("--design", required=True, choices=list(DESIGNS), help="how treatments are randomised")
    add("--treatment", action="append", metavar="NAME=RATE", help="a treatment; 0 for none")
    add("--whole", action="append", metavar="NAME[=RATE]", help="a treatment of whole plots")
    add("--blocks", type=int, metavar="N", help="how many blocks")
    add("--replicates", type=int, metavar="N", help="plots of each treatment without blocks")
    add("--seed", type=seed, required=True, metavar="N", help="of the randomisation: note it down")
    add("--length", required=True, metavar="'10 m'", help="length of a plot")
    add("--width", metavar="'3.5 m'", help="width of a plot, which is that of the bar")
    add("--machine", type=Path, metavar="FILE", help="machine file that has the width")
    add("--alley", default="3 m", metavar="'3 m'", help="between plots along the way (default 3 m)")
    add("--buffer", default="0 m", metavar="'1 m'", help="between plots across it (default 0 m)")
    add("--run-up", default="0 m", metavar="'1 m'",
        help="the implement comes down so far before a pass begins; the board counts the way "
             "from there (default 0 m)")
    add("--lift", choices=LIFTS, default=ALLEY,
        help="where the implement is lifted (default alley)")
    add_units(command, "of bare numbers and of the plan (default: of the machine file, or metric)")
    add("--out", type=Path, required=True, metavar="FILE", help="plan to write; never over another")
    add("--draw", type=Path, metavar="FILE", help="draw the field: .svg or .png")


def _scenario(command: argparse.ArgumentParser) -> None:
    from host_sim.verbs.drive import seed

    add = command.add_argument
    add("plan", type=Path, metavar="PLAN", help="plan (CSV)")
    add("--machine", type=Path, required=True, metavar="FILE", help="machine file")
    add("--speed", required=True, metavar="'5 km/h'", help="speed over the plots")
    add("--seed", type=seed, default=1, metavar="N", help="of the drive (default 1)")
    add("--on-board", action="store_true",
        help="the board has the plan and sets the rates; without it a person enters them")
    add("--out", type=Path, required=True, metavar="DIR",
        help="folder for scenario.toml and speed.csv")


def _applied(command: argparse.ArgumentParser) -> None:
    add = command.add_argument
    add("plan", type=Path, metavar="PLAN", help="plan (CSV)")
    add("run_path", type=Path, metavar="RUN",
        help="folder of a run, recording of a board, or folder that `board fetch` wrote")
    add("--out", type=Path, required=True, metavar="DIR", help="folder for the page and the tables")
    add("--uncertainty", type=Path, metavar="FILE",
        help="what is known of meter, speed sensor, width (TOML); else usual values")
    add("--leave-out", type=int, action="append", default=[], metavar="N",
        help="a pass of the run that is none of the plan")
    add("--not-driven", action="append", default=[], metavar="PLOT",
        help="a plot that was not driven")


def run(args: argparse.Namespace) -> int:
    status: int = args.action(args)
    return status


def _run_new(args: argparse.Namespace) -> int:
    from host_sim.common.errors import InputError
    from host_sim.common.output import check_target, write_paths
    from host_sim.field_trial.plan_table import plan_csv
    from host_sim.field_trial.request import plan_asked

    _check_drawing(args.draw)
    if args.out.exists():
        raise InputError(f"--out: {args.out}: is there already, and a plan is not overwritten")
    check_target(args.out)
    plan = plan_asked(args)
    write_paths({args.out: plan_csv(plan)})
    return _show(plan, [args.out], args.draw)


def _run_check(args: argparse.Namespace) -> int:
    from host_sim.field_trial.fit import check_machine
    from host_sim.field_trial.plan_file import read_plan
    from host_sim.machine_file.machine import load_machine

    _check_drawing(args.draw)
    plan = read_plan(args.plan)
    if args.machine:
        check_machine(args.plan, plan, load_machine(args.machine))
    return _show(plan, [], args.draw)


def _run_scenario(args: argparse.Namespace) -> int:
    import os

    from host_sim.common import units
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import check_directory, write_files
    from host_sim.field_trial.fit import check_machine, speed_problem
    from host_sim.field_trial.plan_file import read_plan
    from host_sim.field_trial.plot_drive import drive_over, lift_ahead_s, room_problems
    from host_sim.machine_file.machine import load_machine

    check_directory(args.out)
    plan, machine = read_plan(args.plan), load_machine(args.machine)
    check_machine(args.plan, plan, machine)
    try:
        speed_m_s = units.parse("speed_mm_s", args.speed, machine.us)
    except ValueError as error:
        raise InputError(f"--speed: {error}") from error
    problem = speed_problem(speed_m_s)
    if problem:
        raise InputError(f"--speed: {problem}")
    if problems := [f"{args.plan}: {words}" for words in room_problems(plan)]:
        raise InputError(*problems)
    lift_s = lift_ahead_s(machine.settings)
    way = drive_over(plan, speed_m_s, args.on_board, lift_s)
    on_board = os.path.relpath(args.plan, args.out) if args.on_board else ""
    text = way.scenario(f"Trial {args.plan.stem}", os.path.relpath(args.machine, args.out),
                        "speed.csv", args.seed, on_board)
    for path in write_files(args.out, {"scenario.toml": text, "speed.csv": way.speed_csv}):
        print(plain(path))
    if not args.on_board:
        ahead = units.text("width_mm", lift_s * speed_m_s, plan.us)
        print(f"the implement goes up {ahead} before the end of a plot")
    return 0


def _run_applied(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import check_directory, write_files
    from host_sim.field_trial.applied import applied
    from host_sim.field_trial.applied_page import render
    from host_sim.field_trial.applied_tables import applied_files
    from host_sim.field_trial.applied_text import lines
    from host_sim.field_trial.plan_file import read_plan
    from host_sim.runs.files import load_run
    from host_sim.runs.measured import is_simulated
    from host_sim.runs.plot_record import is_plot_record

    check_directory(args.out)
    plan = read_plan(args.plan)
    by_board = is_plot_record(args.run_path)
    if by_board:
        plots = _applied_by_board(args, plan)
    else:
        record, _ = load_run(args.run_path)
        know = _know(args, record.about["settings"])
        plots = applied(args.plan, plan, record, know, args.leave_out, args.not_driven)
    title = f"{args.plan.stem}: as applied"
    page = render(title, plan, plots, plan.us, not by_board and is_simulated(record))
    texts = {"as_applied.html": page, **applied_files(title, plan, plots, plan.us)}
    paths = write_files(args.out, texts)
    for line in lines(plan, plots, plan.us):
        print(plain(line))
    for path in paths:
        print(plain(path))
    return 0


def _know(args: argparse.Namespace, settings: Mapping[str, Any]) -> Knowledge:
    """How well the machine is known, by the file that was given or as usual."""
    from host_sim.field_trial.knowledge_file import read_knowledge, usual

    return read_knowledge(args.uncertainty, settings) if args.uncertainty else usual(settings)


def _applied_by_board(args: argparse.Namespace, plan: Plan) -> list[Applied]:
    """What was applied by the record that the board kept itself."""
    from host_sim.common.errors import InputError
    from host_sim.field_trial.applied import applied_by_board
    from host_sim.runs.plot_record import SETTINGS_FILES, read_plot_record

    if args.leave_out:
        raise InputError("--leave-out: goes with a run; the board tells its plots by name")
    record = read_plot_record(args.run_path)
    if record.settings is None:
        raise InputError(f"{args.run_path}: the settings of the board are not there whole "
                         f"({SETTINGS_FILES[0]} or {SETTINGS_FILES[1]}): fetch it again")
    if record.damaged:
        print(f"{record.damaged} lines of the record are not whole and are left out",
              file=sys.stderr)
    return applied_by_board(args.plan, plan, record, record.settings,
                            _know(args, record.settings.as_dict()), args.not_driven)


def _check_drawing(path: Path | None) -> None:
    """Raise InputError where a drawing cannot be written there."""
    from host_sim.common.errors import InputError
    from host_sim.common.output import check_target

    if path:
        if path.suffix.lower() not in (".svg", ".png"):
            raise InputError(f"--draw: {path}: must end in .svg or .png")
        check_target(path)


def _show(plan: object, paths: list[Path], drawing: Path | None) -> int:
    """Draw where asked for, and print what is in a plan."""
    from host_sim.common.errors import InputError, plain
    from host_sim.field_trial.drawing import draw_plan
    from host_sim.field_trial.plan import Plan
    from host_sim.field_trial.plan_table import summary

    assert isinstance(plan, Plan)
    if drawing:
        if not all(plot.box for plot in plan.plots):
            raise InputError("--draw: the plan does not say where its plots lie: columns x, y, "
                             "width and heading_deg")
        paths = [*paths, draw_plan(plan, drawing, plan.us)]
    for name, text in summary(plan):
        print(f"{name:<14} {text}")
    for path in paths:
        print(plain(path))
    return 0
