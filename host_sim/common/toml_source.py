"""A TOML file that can say on which line each of its keys stands.

tomllib gives values without lines; a second, much simpler pass over the text finds the lines.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError
from host_sim.common.reading import (
    DEEPEST,
    Where,
    field_name,
    first_bad_value,
    parsed,
    read_text,
    too_long,
)

_SYNTAX_LINE = re.compile(r" \(at line (\d+), column \d+\)$")
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]#]+?)\s*\]")
_NAME = r"(?:[\w-]+|\"[^\"]*\"|'[^']*')"
_KEY = re.compile(rf"\s*({_NAME}(?:\s*\.\s*{_NAME})*)\s*=")
_PART = re.compile(_NAME)
# The parser takes time with the square of the parts of a name, so they are counted before it.
_LONG_KEY = re.compile(
    r"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){" + str(DEEPEST) + "}")
_LITERAL = re.compile(r"\"(?:\\.|[^\"\\])*\"|'[^']*'|#.*")


class TomlSource:
    """The parsed `data` of a file, and errors that point into it."""

    def __init__(self, path: Path, text: str | None = None) -> None:
        """Read and parse; raises InputError naming file and line where that fails.

        `text`, where given, is what the file is about to hold; then it need not be there.
        """
        self.path = path
        self.text = (read_text(path) if text is None else text).replace("\r\n", "\n")
        long_key = _LONG_KEY.search(self.text)
        if long_key:
            line = self.text.count("\n", 0, long_key.start()) + 1
            raise InputError(f"{path}:{line}: is nested deeper than {DEEPEST}")
        try:
            self.data: dict[str, Any] = parsed(tomllib.loads, self.text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(self._syntax_problem(str(error))) from error
        except ValueError as error:
            raise InputError(f"{path}: {too_long(error)}") from error
        self._lines = key_lines(self.text)
        found = first_bad_value(self.data)
        if found:
            raise InputError(self.problem(*found))

    def problem(self, where: Where, message: str) -> str:
        """One line naming file, line and field: `a.toml:12: event 2.at_s: message`."""
        return f"{self.path}:{self.line(where)}: {field_name(where)}: {message}"

    def line(self, where: Where) -> int:
        """Line of a key, or of the nearest table around it."""
        while where and where not in self._lines:
            where = where[:-1]
        return self._lines.get(where, 1)

    def _syntax_problem(self, message: str) -> str:
        place = _SYNTAX_LINE.search(message)
        line = place[1] if place else str(self.text.count("\n") + 1)
        return f"{self.path}:{line}: {_SYNTAX_LINE.sub('', message)}"


def key_lines(text: str) -> dict[Where, int]:
    """The line, from 1, of every key and table header in valid TOML.

    Values are skipped by counting brackets and watching for multi-line strings.
    """
    lines: dict[Where, int] = {}
    counts: dict[Where, int] = {}
    table: Where = ()
    depth = 0
    fence = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if fence:
            fence = "" if fence in line else fence
            continue
        header = _HEADER.match(line) if not depth else None
        if header:
            table = _table(header, counts)
            lines.setdefault(table, number)
            if header[1] == "[[":
                lines.setdefault(table[:-1], number)  # the array, where it begins
            continue
        key = _KEY.match(line) if not depth else None
        if key:
            lines.setdefault(table + _parts(key[1]), number)
        fence, depth = _value_state(line, depth)
    return lines


def _table(header: re.Match[str], counts: dict[Where, int]) -> Where:
    """The table that a header opens; members of arrays of tables are numbered in order."""
    where: Where = ()
    parts = _parts(header[2])
    for part in parts[:-1]:
        where += (part,)
        if where in counts:
            where += (counts[where] - 1,)
    where += parts[-1:]
    if header[1] == "[[":
        counts[where] = counts.get(where, 0) + 1
        where += (counts[where] - 1,)
    return where


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in _PART.findall(dotted))


def _value_state(line: str, depth: int) -> tuple[str, int]:
    """What is still open after a line: a multi-line string's quotes, and brackets."""
    for fence in ('"""', "'''"):
        if line.count(fence) % 2:
            return fence, depth
    bare = _LITERAL.sub("", line)
    opened = bare.count("[") + bare.count("{")
    return "", depth + opened - bare.count("]") - bare.count("}")
