"""Tables for other programs: CSV without a trap, and a descriptor that says what each column is.

The descriptor is a Data Package with Table Schemas (specs.frictionlessdata.io, version 1): R,
pandas and spreadsheets read the CSV as it is, and whoever opens it in ten years finds the units.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from host_sim.common.csv_cells import safe

DESCRIPTOR = "datapackage.json"
NUMBER, INTEGER, TEXT = "number", "integer", "string"
DIGITS = 7  # significant; more than any figure has

Cell = float | int | str | None


@dataclass(frozen=True)
class Column:
    """A column; its kind is one of Table Schema's types, `choices` are all that it may hold."""

    name: str
    kind: str
    meaning: str
    needed: bool = True
    choices: tuple[str, ...] = ()

    def field(self) -> dict[str, Any]:
        """The field descriptor of Table Schema."""
        limits: dict[str, Any] = {"required": True} if self.needed else {}
        if self.choices:
            limits["enum"] = list(self.choices)
        described = {"name": self.name, "type": self.kind, "description": self.meaning}
        return described | ({"constraints": limits} if limits else {})


@dataclass(frozen=True)
class Table:
    """A table in a file. `key` names the columns that tell its rows apart.

    `within` names another table of the package in which each row's `link` columns are a key.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    within: str = ""
    link: tuple[str, ...] = ()

    @property
    def file(self) -> str:
        return f"{self.name.replace('-', '_')}.csv"

    def csv(self, rows: Iterable[Mapping[str, Any]]) -> str:
        """The text of the file; each row is a mapping that has every column."""
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow([column.name for column in self.columns])
        writer.writerows([_cell(row[column.name]) for column in self.columns] for row in rows)
        return text.getvalue()

    def resource(self) -> dict[str, Any]:
        """The resource descriptor."""
        schema: dict[str, Any] = {"fields": [column.field() for column in self.columns],
                                  "missingValues": [""]}
        if self.key:
            schema["primaryKey"] = list(self.key)
        if self.within:
            schema["foreignKeys"] = [{
                "fields": list(self.link),
                "reference": {"resource": self.within, "fields": list(self.link)}}]
        return {
            "profile": "tabular-data-resource", "name": self.name, "path": self.file,
            "description": self.meaning, "format": "csv", "mediatype": "text/csv",
            "encoding": "utf-8", "schema": schema}


def package_files(name: str, title: str, filled: Mapping[Table, Iterable[Mapping[str, Any]]],
                  others: Sequence[Table] = ()) -> dict[str, str]:
    """Texts by file name: each table with its rows, and the descriptor of these and `others`."""
    return {table.file: table.csv(rows) for table, rows in filled.items()} | {
        DESCRIPTOR: descriptor(name, title, [*others, *filled])}


def descriptor(name: str, title: str, tables: Sequence[Table]) -> str:
    """The text of datapackage.json. `name` is of small letters, digits and - alone."""
    package = {"profile": "tabular-data-package", "name": name, "title": title,
               "resources": [table.resource() for table in tables]}
    return json.dumps(package, indent=2, allow_nan=False) + "\n"


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return safe(value)
    return str(value) if isinstance(value, int) else f"{value:.{DIGITS}g}"
