"""The record of a run: one row a tick, what was true beside what the controller believed."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from host_sim.common.errors import InputError
from host_sim.common.reading import MIB, decoded, read_bytes
from host_sim.runs.recorder import PLACE, SECTION, SECTION_DIGITS, TRUTH, section_column
from rate_control import trace
from rate_control.settings import Settings

LARGEST_BYTES = 2048 * MIB  # of a run.csv; a day's drive has 0.5 GiB
ROWS_AT_ONCE = 4096  # as Python numbers; a day's drive has 1.7 million

Column = NDArray[np.float64]


@dataclass
class RunRecord:
    """Columns by name, all of one length, and `about`: JSON-able facts of the whole run."""

    columns: dict[str, Column]
    about: dict[str, Any] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Column:
        return self.columns[name]

    def __len__(self) -> int:
        return len(self.columns["time_s"])

    @property
    def us(self) -> bool:
        """Whether the controller of the run showed US customary units."""
        return bool(self.about.get("settings", {}).get("us_units"))

    @property
    def settings(self) -> dict[str, Any]:
        """Those of the run; what an older firmware did not have is as by default."""
        return Settings().as_dict() | self.about["settings"]

    @property
    def unsteady(self) -> str:
        """Why the run does not serve where its settings must be the same all along, or ""."""
        changed = self.about.get("settings_changed")
        return (f"settings were changed within the run, {', '.join(changed)}: "
                "record one with the same all along" if changed else "")

    @property
    def has_place(self) -> bool:
        """Whether it is known where the machine was."""
        return all(name in self.columns for name, _ in PLACE)

    @property
    def section_count(self) -> int:
        return sum(name.startswith(SECTION) for name in self.columns)

    @property
    def section_ml(self) -> Column:
        """Volume let out so far: a row a tick, a column a section."""
        names = [section_column(index) for index in range(self.section_count)]
        return np.column_stack([self.columns[name] for name in names])


def to_csv(record: RunRecord) -> str:
    """The text of run.csv: a header line, then a line a tick."""
    digits = dict(TRUTH) | dict(PLACE)
    digits |= {section_column(index): SECTION_DIGITS for index in range(record.section_count)}
    line = ",".join(f"%.{digits.get(name, 0)}f" for name in record.columns) + "\n"
    parts = [",".join(record.columns) + "\n"]
    for start in range(0, len(record), ROWS_AT_ONCE):
        some = slice(start, start + ROWS_AT_ONCE)
        rows = zip(*(column[some].tolist() for column in record.columns.values()), strict=True)
        parts.append("".join(line % row for row in rows))
    return "".join(parts)


def read_csv(path: Path) -> dict[str, Column]:
    """The columns of a run.csv, without a last line that is torn.

    Raises InputError with file and line where it is none.
    """
    data = read_bytes(path, LARGEST_BYTES)
    text = decoded(path, data, "ascii", "plain text").replace("\r\n", "\n")
    header, _, body = text.partition("\n")
    names = header.split(",")
    problem = _header_problem(names)
    if problem:
        raise InputError(f"{path}:1: is no record of a run: {problem}")
    body = body[: body.rfind("\n") + 1]
    if not body.strip():
        raise InputError(f"{path}:2: the record holds no tick")
    try:
        table = np.loadtxt(io.StringIO(body), delimiter=",", comments=None, ndmin=2)
    except ValueError:
        raise _first_bad_line(path, names, body) from None
    if table.shape[1] != len(names):
        raise _first_bad_line(path, names, body)
    return {name: table[:, i].copy() for i, name in enumerate(names)}


def _header_problem(names: list[str]) -> str:
    """What is wrong with the columns, an empty text for nothing."""
    sections = [name for name in names if name.startswith(SECTION)]
    wanted = [name for name, _ in TRUTH]
    wanted += [section_column(index) for index in range(max(len(sections), 1))]
    for name in [*wanted, *trace.FIELDS]:
        if names.count(name) != 1:
            return f"column {name} is {'there twice' if name in names else 'missing'}"
    return ""


def _first_bad_line(path: Path, names: list[str], body: str) -> InputError:
    """What is wrong with the first row that is not a number for each column."""
    for line, row in enumerate((text.split(",") for text in body.split("\n")[:-1]), start=2):
        if len(row) != len(names):
            return InputError(f"{path}:{line}: has {len(row)} values for {len(names)} columns")
        for name, value in zip(names, row, strict=True):
            try:
                float(value)
            except ValueError:
                return InputError(f"{path}:{line}: {name}: not a number: {value[:20]!r}")
    return InputError(f"{path}: is no record of a run")
