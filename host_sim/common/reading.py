"""The one way in which files from people are read, whatever is in them.

A file has a size that its kind can have, is text without zero bytes, is nested no deeper than
people write, and holds numbers that are numbers. Everything else is an InputError.
"""

from __future__ import annotations

import json
import math
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError

MIB = 1 << 20
TEXT_BYTES = MIB  # more than anybody writes by hand
DEEPEST = 20  # tables and lists within each other; the deepest file of the project has 4
NUMBER_MAX = 2**63 - 1  # TOML v1.0.0, "Integer": 64 bits are what every program takes

Where = tuple[str | int, ...]  # ("event", 3, "at_s"): tables by name, array members by index


def check_file(path: Path, most_bytes: int) -> None:
    """Raise InputError where there is no plain file that can be read, or it is too large."""
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode):  # a pipe would be waited for without end
            what = "is a directory" if stat.S_ISDIR(found.st_mode) else "is not a plain file"
            raise InputError(f"{path}: cannot be read: {what}")
        if found.st_size > most_bytes:
            raise InputError(f"{path}: is larger than {most_bytes // MIB} MiB")
        os.close(os.open(path, os.O_RDONLY))
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    except ValueError as error:  # a zero byte in the name
        raise InputError(f"{path}: is no name of a file") from error


def read_bytes(path: Path, most_bytes: int = TEXT_BYTES) -> bytes:
    """All of a file. Raises InputError."""
    check_file(path, most_bytes)
    try:
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
    if len(data) > most_bytes:  # it grew meanwhile
        raise InputError(f"{path}: is larger than {most_bytes // MIB} MiB")
    return data


def read_text(path: Path, most_bytes: int = TEXT_BYTES) -> str:
    """A text in UTF-8, with or without a mark that says so. Raises InputError with the line."""
    return decoded(path, read_bytes(path, most_bytes), "utf-8-sig", "UTF-8 text")


def decoded(path: Path, data: bytes, encoding: str, words: str) -> str:
    """Bytes as text. Raises InputError naming file and line where they are none."""
    try:
        text = data.decode(encoding)
        bad = text.find("\0")
        at = len(text[:bad].encode(encoding)) if bad >= 0 else -1
    except UnicodeDecodeError as error:
        at = error.start
    if at >= 0:
        line = data.count(b"\n", 0, at) + 1
        raise InputError(f"{path}:{line}: is not {words}")
    return text


def parsed(parse: Callable[..., Any], text: str | bytes) -> Any:
    """What a parser of tomllib or json makes of a text. Raises ValueError, never another."""
    try:
        return parse(text)
    except RecursionError:
        raise ValueError(f"is nested deeper than {DEEPEST}") from None


def read_json(path: Path, most_bytes: int) -> Any:
    """The content of a JSON file. Raises InputError naming file, and line or field."""
    text = read_text(path, most_bytes)
    try:
        data = parsed(json.loads, text)
    except json.JSONDecodeError as error:
        raise InputError(f"{path}:{error.lineno}: {error.msg}") from error
    except ValueError as error:
        raise InputError(f"{path}: {too_long(error)}") from error
    found = first_bad_value(data)
    if found:
        where, words = found
        raise InputError(f"{path}: {field_name(where)}: {words}")
    return data


def too_long(error: ValueError) -> str:
    """The words of a parser's error; Python's own on endless numbers speak of its insides."""
    return "holds a number that is too long" if "integer string" in str(error) else str(error)


def first_bad_value(data: Any) -> tuple[Where, str] | None:
    """The first place where parsed data holds what no file of the project needs, and why."""
    waiting: list[tuple[Where, Any]] = [((), data)]
    while waiting:
        where, value = waiting.pop()
        if len(where) > DEEPEST:
            return where[:2], f"is nested deeper than {DEEPEST}"
        if isinstance(value, dict):
            if not all(_is_text(key) for key in value):
                return where, "has a name that is no text"
            waiting.extend(((*where, key), value[key]) for key in reversed(value))
        elif isinstance(value, list):
            waiting.extend(((*where, index), value[index]) for index in reversed(range(len(value))))
        elif isinstance(value, str):
            if not _is_text(value):
                return where, "is no text"
        elif isinstance(value, float) and not math.isfinite(value):
            return where, f"must be a number, is {value}"
        elif isinstance(value, int) and abs(value) > NUMBER_MAX:
            return where, "is too large a number"
    return None


def _is_text(value: str) -> bool:
    """Whether no half of a character is in it, which JSON can write and nobody can encode."""
    return not any("\ud800" <= character <= "\udfff" for character in value)


def field_name(where: Where) -> str:
    """A place in words: `event 2.at_s`, `pump.friction_nm`; members count from 1."""
    words = ""
    for part in where:
        if isinstance(part, int):
            words += f" {part + 1}"
        else:
            words += f".{part}" if words else part
    return words.strip()
