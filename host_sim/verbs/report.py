"""`python -m host_sim report`: the report of any run, of the twin or of a board."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.common.unit_option import add_units, us_of

if TYPE_CHECKING:
    from host_sim.machine_file.machine import MachineFile
    from host_sim.report.comparison import ComparedRun
    from host_sim.runs.record import RunRecord

HELP = "make the report of a run, of two beside each other, or of one beside its replay"

EPILOG = """\
RUN is a directory with run.csv and summary.json, as `drive` or `record --from` leaves it, the
recording of a board, or the folder of `board fetch`. A report of a recording says what the
controller measured, for nobody knows the truth about a real machine. --csv, --passes and --json
write the same run for programs: a row for each tick, a row for each pass, and all figures.
--replay drives the run once more on the twin of a machine file: the same speed, switches and rates,
with the settings that stand in the file.

examples:
  python -m host_sim report out/demo
  python -m host_sim report field.rec --units us --out for_the_neighbour.html
  python -m host_sim report out/slow --against out/brisk --json compared.json
  python -m host_sim report field.rec --replay my_bar.toml --out what_if.html
"""


def configure(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    parser.add_argument("run_path", type=Path, metavar="RUN", help="directory or recording")
    beside = parser.add_mutually_exclusive_group()
    beside.add_argument("--against", type=Path, metavar="RUN", help="another run to set beside it")
    beside.add_argument("--replay", type=Path, metavar="FILE",
                        help="machine file: drive the run once more on its twin, with its "
                             "settings, and set that beside it")
    parser.add_argument("--out", type=Path, metavar="FILE",
                        help="where to write it (default report.html in RUN; FILE.html for a "
                             "recording FILE.rec)")
    parser.add_argument("--csv", type=Path, metavar="FILE",
                        help="also write a row for each tick (docs/reference/run_files.md)")
    parser.add_argument("--passes", type=Path, metavar="DIR",
                        help="also write the tables of the passes, with what their columns are")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write all figures")
    parser.add_argument("--machine", type=Path, metavar="FILE",
                        help="machine file: its units, and which of its settings the run had not")
    add_units(parser, "units of the report (default: of the machine file, or of the run)")


def run(args: argparse.Namespace) -> int:
    from host_sim.common.errors import plain
    from host_sim.common.output import write_paths
    from host_sim.common.progress import progress
    from host_sim.machine_file.machine import load_machine
    from host_sim.report.comparison import ComparedRun
    from host_sim.report.page import render
    from host_sim.runs.files import REPORT_HTML, load_run, summary_json
    from host_sim.runs.plot_record import is_plot_record
    from host_sim.runs.record import to_csv
    from host_sim.runs.tables import PASS_FILES, pass_files

    path: Path = args.run_path
    if is_plot_record(path):
        return _of_plots(args)
    out = args.out or (path / REPORT_HTML if path.is_dir() else path.with_suffix(".html"))
    tables = [args.passes / name for name in PASS_FILES] if args.passes else []
    _check_places([place for place in (out, args.csv, args.json, *tables) if place],
                  [run for run in (path, args.against) if run])
    machine = load_machine(args.machine) if args.machine else None
    record, figures = load_run(path)
    us = us_of(args, machine.us if machine else record.us)
    name, other = _names(path, args.against or args.replay or path)
    against = ComparedRun(other, *load_run(args.against)) if args.against else None
    if args.replay:
        against = _replayed(name, record, args.replay)
    with progress("drawing") as tell:
        page = render(record, figures, us, tell, against, name)
    texts = {out: page}
    if args.csv:
        texts[args.csv] = to_csv(record)
    if args.passes:
        kept = pass_files(record.about["title"], figures)
        texts |= {args.passes / file: text for file, text in kept.items()}
    if args.json:
        texts[args.json] = summary_json(record, figures, against)
    for written in write_paths(texts):
        print(plain(written))
    if machine:
        _compare(machine, record.about["settings"], us)
    return 0


def _of_plots(args: argparse.Namespace) -> int:
    """The report of the plots that a board kept by itself."""
    from host_sim.common.errors import InputError, plain
    from host_sim.common.output import write_paths
    from host_sim.report.plots_page import render_plots
    from host_sim.runs.files import REPORT_HTML
    from host_sim.runs.plot_record import read_plot_record

    path: Path = args.run_path
    for name in ("against", "replay", "csv", "passes", "json", "machine"):
        if getattr(args, name):
            raise InputError(f"--{name}: {path} is what a board kept of its plots: it has sums "
                             "alone, in plots.csv")
    record = read_plot_record(path)
    folder = path if path.is_dir() else path.parent
    us = us_of(args, bool(record.settings and record.settings.us_units))
    out = args.out or folder / REPORT_HTML
    for written in write_paths({out: render_plots(folder.resolve().name, record, us)}):
        print(plain(written))
    return 0


def _replayed(name: str, record: RunRecord, path: Path) -> ComparedRun:
    """The run driven once more on the twin of a machine file; measured where the run is."""
    from host_sim.common.progress import progress
    from host_sim.machine_file.machine import load_machine
    from host_sim.report.comparison import ComparedRun
    from host_sim.runs.measured import as_measured
    from host_sim.runs.summary import summarise
    from host_sim.twin.recorded_drive import recorded_drive
    from host_sim.twin.twin import Twin

    scenario = recorded_drive(name, record, load_machine(path))
    with progress("driving it once more") as tell:
        again = Twin(scenario).run(tell)
    if record.about.get("measured"):
        again = as_measured(again)
    return ComparedRun(f"the replay on {path.name}", again,
                       summarise(again) | {"wall_seconds": None})


def _compare(machine: MachineFile, used: dict[str, Any], us: bool) -> None:
    """Print the settings of the machine file that the run did not have."""
    from host_sim.common.errors import plain
    from host_sim.machine_file.keeping import differing
    from host_sim.machine_file.values import differences
    from rate_control.settings import build, row

    run, problems = build({name: value for name, value in used.items() if row(name)})
    if run is None:
        print(f"{plain(machine.path)}: the settings of the run are not valid here")
        return
    changed = build(differing(run, machine.settings), run)[0] or run
    rows = differences(run, changed, us)
    for one in rows:
        print(f"{plain(machine.path)}: {one.name}: is {one.new}, was {one.old} in the run")
    if not rows:
        print(f"{plain(machine.path)}: the run had these settings")


def _names(path: Path, other: Path) -> tuple[str, str]:
    """What two runs are called: by their last parts, where those tell them apart."""
    if path.name == other.name or not (path.name and other.name):
        return str(path), str(other)
    return path.name, other.name


def _check_places(places: list[Path], runs: list[Path]) -> None:
    """Raise InputError where something could not be written, or over a run or something else."""
    from host_sim.common.errors import InputError
    from host_sim.common.output import check_target
    from host_sim.runs.files import run_parts

    taken = {os.path.realpath(part) for run in runs for part in run_parts(run)}
    for place in places:
        check_target(place)
        if os.path.realpath(place) in taken:
            raise InputError(f"{place}: is part of a run, or is to be written twice")
        taken.add(os.path.realpath(place))
