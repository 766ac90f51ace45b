"""A lab's sheet: Markdown for a person, with cells of Python that run one after the other.

The cells are written as MyST notebooks write them (```{code-cell} python), so that a sheet is a
plain page, a script and a notebook at once.
"""

from __future__ import annotations

import io
import json
import re
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import host_sim
from host_sim.common.errors import InputError

FOLDER = host_sim.REPO_ROOT / "docs" / "labs"
NOTES = "_notes.md"
CELL = re.compile(r"^```\{code-cell\} python\n(.*?)^```\n", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class SheetPart:
    """Words, or a cell of code; line is where it begins in the sheet, from 1."""

    text: str
    line: int
    is_code: bool


def sheets() -> dict[int, Path]:
    """The sheet of each lab by its number. Raises InputError where there is none to be had."""
    found = {int(path.name.split("_")[0]): path for path in sorted(FOLDER.glob("[0-9]_*.md"))
             if not path.name.endswith(NOTES)}
    if not found:
        raise InputError(f"{FOLDER}: no labs there; they come with the source of the project, not "
                         "with the installed command")
    return found


def notes_of(sheet: Path) -> Path:
    """The instructor's notes that belong to a sheet."""
    return sheet.with_name(sheet.stem + NOTES)


def parts_of(text: str) -> list[SheetPart]:
    """The words and cells of a sheet, in their order."""
    parts, end = [], 0
    for cell in CELL.finditer(text):
        parts.append(SheetPart(text[end:cell.start()], text.count("\n", 0, end) + 1, False))
        parts.append(SheetPart(cell[1], text.count("\n", 0, cell.start(1)) + 1, True))
        end = cell.end()
    parts.append(SheetPart(text[end:], text.count("\n", 0, end) + 1, False))
    return [part for part in parts if part.text.strip()]


def run(sheet: Path) -> list[str]:
    """Run the cells of a sheet in one fresh namespace; returns what each of them prints.

    An error of a cell comes out as it is, with the line of the sheet.
    """
    names: dict[str, Any] = {"__name__": "__lab__"}
    said = []
    for part in parts_of(sheet.read_text(encoding="utf-8")):
        if part.is_code:
            code = compile("\n" * (part.line - 1) + part.text, str(sheet), "exec")
            with redirect_stdout(io.StringIO()) as out:
                exec(code, names)
            said.append(out.getvalue())
    return said


def as_script(text: str) -> str:
    """The sheet as a Python script: its words are comments, a cell begins with `# %%`."""
    parts = []
    for part in parts_of(text):
        if part.is_code:
            parts.append("# %%\n" + part.text)
        else:
            lines = part.text.strip().splitlines()
            parts.append("# %% [markdown]\n" + "".join(f"# {line}".rstrip() + "\n"
                                                       for line in lines))
    return "\n".join(parts)


def as_notebook(text: str) -> str:
    """The sheet as a Jupyter notebook, format 4.5."""
    cells: list[dict[str, Any]] = []
    for index, part in enumerate(parts_of(text)):
        cell: dict[str, Any] = {"id": f"part-{index}", "metadata": {},
                                "cell_type": "code" if part.is_code else "markdown",
                                "source": part.text.strip().splitlines(keepends=True)}
        if part.is_code:
            cell |= {"execution_count": None, "outputs": []}
        cells.append(cell)
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return json.dumps({"cells": cells, "metadata": {"kernelspec": kernel}, "nbformat": 4,
                       "nbformat_minor": 5}, indent=1) + "\n"


def with_figures(notes: str, said: list[str]) -> str:
    """The notes with what each cell prints between its marks. Raises ValueError without marks."""
    for number, text in enumerate(said, 1):
        start, end = f"<!-- cell {number} -->\n", f"<!-- end cell {number} -->\n"
        if notes.count(start) != 1 or notes.count(end) != 1:
            raise ValueError(f"no marks, or twice, for cell {number}")
        before, _, rest = notes.partition(start)
        _, _, after = rest.partition(end)
        notes = f"{before}{start}**Cell {number}**\n\n```text\n{text}```\n{end}{after}"
    return notes
