"""Where a run is kept: in the directory that a drive leaves, or in the recording of a board.

The directory holds report.html for people; run.csv, summary.json and the tables of the passes for
programs, and datapackage.json, which says what every column of them is.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError
from host_sim.common.output import write_files
from host_sim.common.progress import progress
from host_sim.common.reading import MIB, read_json
from host_sim.report.comparison import ComparedRun
from host_sim.report.page import render
from host_sim.runs.facts import columns_problem, facts_problem
from host_sim.runs.measured import counted
from host_sim.runs.record import RunRecord, read_csv, to_csv
from host_sim.runs.recording_run import run_of
from host_sim.runs.summary import summarise
from host_sim.runs.tables import pass_files, run_table

RUN_CSV, SUMMARY_JSON, REPORT_HTML = "run.csv", "summary.json", "report.html"
LARGEST_JSON_BYTES = 64 * MIB
FIRST_ROW_LINE = 2  # of run.csv, below its header


def write_run(directory: Path, record: RunRecord, figures: dict[str, Any], us: bool) -> list[Path]:
    """Write all files, or none; returns their paths."""
    with progress("drawing") as tell:
        report = render(record, figures, us, tell)
    return write_files(directory, run_files(record, figures, report))


def run_files(record: RunRecord, figures: dict[str, Any], report: str) -> dict[str, str]:
    """The texts of all files of a run by name."""
    return {
        REPORT_HTML: report,
        RUN_CSV: to_csv(record),
        SUMMARY_JSON: summary_json(record, figures),
    } | pass_files(record.about["title"], figures, run_table(record.section_count,
                                                              record.columns))


def summary_json(record: RunRecord, figures: dict[str, Any],
                 against: ComparedRun | None = None) -> str:
    """The figures, then the facts of the run under `about`, as JSON text.

    Those of another run, where one is given, stand under `against`.
    """
    kept = figures | {"about": record.about}
    if against:
        kept["against"] = {"name": against.name, **against.figures, "about": against.record.about}
    return json.dumps(kept, indent=2, allow_nan=False) + "\n"


def load_run(path: Path) -> tuple[RunRecord, dict[str, Any]]:
    """The record of a run in a directory or in a recording, and its figures, worked out anew.

    Raises InputError naming the file and, where there is one, the line.
    """
    if path.is_dir():
        return read_run(path)
    record = run_of(path)
    return record, summarise(record) | {"wall_seconds": None}


def run_parts(path: Path) -> list[Path]:
    """The files that a run consists of."""
    return [path / RUN_CSV, path / SUMMARY_JSON] if path.is_dir() else [path]


def read_run(directory: Path) -> tuple[RunRecord, dict[str, Any]]:
    """The record of a run in a directory and its figures, worked out anew. Raises InputError."""
    path = directory / SUMMARY_JSON
    kept = read_json(path, LARGEST_JSON_BYTES)
    about: Any = kept.get("about") if isinstance(kept, dict) else None
    problem = facts_problem(about)
    if problem:
        raise InputError(f"{path}: {problem}")
    record = RunRecord(read_csv(directory / RUN_CSV), about)
    if record.section_count != len(about["section_width_m"]):
        raise InputError(f"{path}: about.section_width_m: has {len(about['section_width_m'])} "
                         f"widths, the record {record.section_count} sections")
    found = columns_problem(record.columns)
    if found:
        row, problem = found
        raise InputError(f"{directory / RUN_CSV}:{row + FIRST_ROW_LINE}: {problem}")
    _note_cut(record, kept.get("ticks"))
    return record, summarise(record) | {"wall_seconds": _seconds(kept.get("wall_seconds"))}


def _note_cut(record: RunRecord, ticks: Any) -> None:
    """Say so where the record ends before the run did; totals and events are then those so far."""
    if not isinstance(ticks, int) or len(record) >= ticks:
        return
    about = record.about
    about["events"] = [event for event in about["events"]
                       if event["time_s"] <= record["time_s"][-1]]
    about.update(counted(record.columns), cut_off=(
        f"The record breaks off: {len(record)} of {ticks} ticks are here. What came after is not "
        "known, and all figures are of what is here."))


def _seconds(value: Any) -> float | None:
    """The time that a computer took, None where it was not kept."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if number else None
