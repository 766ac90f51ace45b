"""Reads the CSV file of a plan; checks it as a whole and tells every problem at once.

An amount is a text with its unit in a column of its name (`rate`: `80 L/ha`), or a bare number in a
column that ends in the unit (`rate_l_ha`), as in scenario files.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from host_sim.common import units
from host_sim.common.csv_cells import separator_of
from host_sim.common.errors import InputError
from host_sim.common.reading import read_text
from host_sim.field_trial.plan import MOST_PLOTS, Plan, Plot
from host_sim.field_trial.plan_rules import problems_of

NAME_LENGTH = 20  # a line of the display
_NAME = re.compile(r"[A-Za-z0-9][\x20-\x7e]*")
LABELS = {"l_ha": "L/ha", "gal_ac": "gal/ac", "m": "m", "ft": "ft"}
_RATE, _LENGTH = ("l_ha", "gal_ac"), ("m", "ft")

# Key: attribute of a plot, and the units that its column may end in.
AMOUNTS = {"rate": ("rate_m", _RATE), "length": ("length_m", _LENGTH),
           "start": ("start_m", _LENGTH), "width": ("width_m", _LENGTH),
           "x": ("x_m", _LENGTH), "y": ("y_m", _LENGTH)}
TEXTS = {"plot": "name", "treatment": "treatment", "block": "block", "whole_plot": "whole_plot",
         "whole_treatment": "whole_treatment", "sub_treatment": "sub_treatment"}
COUNTS = {"order": "order", "pass": "number", "row": "row", "column": "column"}
HEADING = "heading_deg"
NEEDED = ("plot", "treatment", "rate", "length", "order")
COUNT_MAX = 10_000


@dataclass
class _Rows:
    """What is known while a file is read."""

    path: Path
    problems: list[str] = field(default_factory=list)
    lines: dict[int, int] = field(default_factory=dict)  # of the plots read

    def refuse(self, line: int, column: str, words: str) -> None:
        self.problems.append(f"{self.path}:{line}: {column}: {words}")


def read_plan(path: Path) -> Plan:
    """The plan in a file. Raises InputError with a line for everything that is wrong."""
    text = read_text(path).replace("\r\n", "\n").replace("\r", "\n")
    first = text.partition("\n")[0]
    separator = separator_of(first)
    rows = _Rows(path)
    try:
        reader = csv.reader(io.StringIO(text), delimiter=separator, strict=True)
        table = [(reader.line_num, cells) for cells in reader
                 if any(cell.strip() for cell in cells)]
    except csv.Error as error:
        raise InputError(f"{path}:{reader.line_num}: {error}") from error
    if not table:
        raise InputError(f"{path}:1: is empty")
    line, header = table[0][0], [name.strip().lower() for name in table[0][1]]
    _check_header(rows, line, header)
    if rows.problems:
        raise InputError(*rows.problems)
    if not 1 <= len(table) - 1 <= MOST_PLOTS:
        raise InputError(f"{path}: has {len(table) - 1} plots, must have 1 to {MOST_PLOTS}")
    plots = []
    for line, cells in table[1:]:
        if len(cells) != len(header):
            rows.problems.append(f"{path}:{line}: has {len(cells)} cells, the header {len(header)}")
            continue
        plot = _plot(rows, line, dict(zip(header, (cell.strip() for cell in cells), strict=True)))
        if plot:
            rows.lines[id(plot)] = line
            plots.append(plot)
    if not rows.problems:
        plots.sort(key=lambda plot: plot.order)
        if "pass" not in header:
            plots = _each_a_pass(rows, plots)
        for plot, column, words in problems_of(plots):
            rows.refuse(rows.lines[id(plot)], column, words)
    if rows.problems:
        raise InputError(*rows.problems)
    return Plan(tuple(plots), any(name.endswith("gal_ac") for name in header)
                or "gal/ac" in text.lower())


def known_columns() -> dict[str, str]:
    """Every column that there can be, and the key that it gives."""
    names = {name: name for name in (*TEXTS, *COUNTS, *AMOUNTS, HEADING)}
    return names | {f"{key}_{ending}": key for key, (_, endings) in AMOUNTS.items()
                    for ending in endings}


def _check_header(rows: _Rows, line: int, header: list[str]) -> None:
    known, given = known_columns(), []
    for name in header:
        if name not in known:
            close = difflib.get_close_matches(name, known, n=1)
            hint = f"; did you mean {close[0]}?" if close else ""
            rows.refuse(line, name[:NAME_LENGTH] or "header", f"there is no such column{hint}")
            continue
        if known[name] in given:
            rows.refuse(line, name, "is given already")
        given.append(known[name])
    for key in NEEDED:
        if key not in given:
            rows.refuse(line, key, "the column is missing")


def _plot(rows: _Rows, line: int, cells: dict[str, str]) -> Plot | None:
    """The plot of a row; what is wrong with it goes to the problems."""
    before = len(rows.problems)
    known = known_columns()
    values: dict[str, str | int | float] = {}
    for column, cell in cells.items():
        key = known[column]
        if not cell:
            if key in NEEDED:
                rows.refuse(line, column, "is empty")
            continue
        read, attribute = _reader(key, column)
        try:
            values[attribute] = read(cell)
        except ValueError as error:
            rows.refuse(line, column, str(error))
    if len(rows.problems) > before:
        return None
    if "pass" in cells and values["rate_m"] and "number" not in values:
        rows.refuse(line, "pass", "is empty, but the plot gets something")
        return None
    return Plot(**values)  # type: ignore[arg-type]


def _each_a_pass(rows: _Rows, plots: list[Plot]) -> list[Plot]:
    """The plots with a pass for each that gets something."""
    numbered, number = [], 0
    for plot in plots:
        number += plot.treated
        numbered.append(replace(plot, number=number if plot.treated else 0))
        rows.lines[id(numbered[-1])] = rows.lines[id(plot)]
    return numbered


def _reader(key: str, column: str) -> tuple[Callable[[str], str | int | float], str]:
    """What reads a cell of a column, and the attribute that it gives."""
    if key in TEXTS:
        return checked_name, TEXTS[key]
    if key in COUNTS:
        return _count, COUNTS[key]
    if key == HEADING:
        return _heading, HEADING
    attribute, endings = AMOUNTS[key]
    quantity = "rate_ml_ha" if endings is _RATE else "distance_mm"
    label = LABELS.get(column.removeprefix(f"{key}_"), "")

    def amount(cell: str) -> float:
        if label and not re.fullmatch(r"[-+.,\d]+", cell):
            raise ValueError(f"'{cell[:NAME_LENGTH]}' is not a number of {label}")
        return units.parse_with_unit(quantity, f"{cell} {label}".strip())

    return amount, attribute


def checked_name(cell: str) -> str:
    """A name of a plot, a treatment or a block. ValueError, with a reason, if it cannot be one."""
    if len(cell) > NAME_LENGTH:
        raise ValueError(f"has more than {NAME_LENGTH} characters, which the display cannot show")
    if not _NAME.fullmatch(cell):
        raise ValueError(f"'{cell}' must begin with a letter or digit and be plain ASCII")
    return cell


def _count(cell: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", cell) or not 1 <= int(cell) <= COUNT_MAX:
        raise ValueError(f"must be a whole number from 1 to {COUNT_MAX}, "
                         f"is '{cell[:NAME_LENGTH]}'")
    return int(cell)


def _heading(cell: str) -> float:
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,3})?", cell) or float(cell) >= 360:
        raise ValueError(f"must be degrees from 0 to below 360, is '{cell[:NAME_LENGTH]}'")
    return float(cell)
