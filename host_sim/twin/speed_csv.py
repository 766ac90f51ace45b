"""Speed samples out of CSV files: plain ones, and the log of a yield monitor.

Plain: `time_s` and one of `speed_m_s`, `speed_km_h`, `speed_mph`. Log: `Distance(m)`,
`Duration(s)` and `Obj. Id`, in ISO-8859-1. Further columns are left alone.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from pathlib import Path

from host_sim.common.csv_cells import separator_of
from host_sim.common.errors import InputError
from host_sim.twin.speed_samples import Sample, check_sample

SPEED_UNITS = {"speed_m_s": 1.0, "speed_km_h": 1 / 3.6, "speed_mph": 0.44704}
LOG_COLUMNS = ("Obj. Id", "Distance(m)", "Duration(s)")
JOIN_S = 1.0  # from the last sample of a run of the log to the first of the next

Row = tuple[int, dict[str, str]]  # line number, cells by column


def csv_samples(path: Path, data: bytes) -> tuple[list[Sample], str]:
    """Samples of a CSV file and a note on it. Raises InputError naming file and line."""
    if b"\0" in data:
        raise InputError(f"{path}: is no text file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("iso-8859-1")
    lines = text.splitlines()
    separator = separator_of(lines[0] if lines else "")
    header = [name.strip() for name in next(_cells(path, lines[:1], separator), [])]
    rows = _rows(path, header, lines, separator)
    if all(name in header for name in LOG_COLUMNS):
        return _log_samples(path, rows)
    units = [name for name in SPEED_UNITS if name in header]
    if "time_s" not in header or not units:
        raise InputError(f"{path}:1: the header must name time_s and speed_m_s "
                         f"(or {', '.join(list(SPEED_UNITS)[1:])})")
    if len(units) > 1:
        raise InputError(f"{path}:1: {units[1]}: one speed column only, {units[0]} is there too")
    return _plain_samples(path, rows, units[0]), ""


def _rows(path: Path, header: list[str], lines: list[str], separator: str) -> Iterator[Row]:
    """The rows below the header; empty lines are left out."""
    for line, cells in enumerate(_cells(path, lines[1:], separator), start=2):
        if not cells:
            continue
        if len(cells) != len(header):
            raise InputError(f"{path}:{line}: has {len(cells)} values for {len(header)} columns")
        yield line, dict(zip(header, cells, strict=True))


def _cells(path: Path, lines: list[str], separator: str) -> Iterator[list[str]]:
    try:
        yield from csv.reader(lines, delimiter=separator)
    except csv.Error as error:
        raise InputError(f"{path}: is no table of text: {error}") from error


def _plain_samples(path: Path, rows: Iterator[Row], column: str) -> list[Sample]:
    samples: list[Sample] = []
    for line, row in rows:
        time_s = _number(path, line, row, "time_s")
        speed = _number(path, line, row, column) * SPEED_UNITS[column]
        check_sample(f"{path}:{line}", samples, time_s, speed, column)
        samples.append((time_s, speed))
    return samples


def _log_samples(path: Path, rows: Iterator[Row]) -> tuple[list[Sample], str]:
    """Speed is distance over duration; a run of the log ends where Obj. Id does not step by 1."""
    samples: list[Sample] = []
    time_s = 0.0
    runs = 0
    last_id: float | None = None
    for line, row in rows:
        duration_s = _number(path, line, row, "Duration(s)")
        if duration_s <= 0:
            raise InputError(f"{path}:{line}: Duration(s): must be above 0, is {duration_s:g}")
        this_id = _number(path, line, row, "Obj. Id")
        contiguous = last_id is not None and this_id == last_id + 1
        runs += not contiguous
        time_s += duration_s if contiguous else JOIN_S
        last_id = this_id
        speed = _number(path, line, row, "Distance(m)") / duration_s
        check_sample(f"{path}:{line}", samples, time_s, speed, "Distance(m)")
        samples.append((time_s, speed))
    return samples, f"recorded log, {runs} runs joined {JOIN_S:g} s apart"


def _number(path: Path, line: int, row: dict[str, str], column: str) -> float:
    try:
        value = float(row[column])
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        hint = ": write the decimal sign as a point" if "," in row[column] else ""
        raise InputError(f"{path}:{line}: {column}: not a number: {row[column][:20]!r}{hint}")
    return value
