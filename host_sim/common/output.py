"""Files that a command leaves behind: all of them, whole, or none."""

from __future__ import annotations

import json
import os
import secrets
import stat
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError

NEW_FILE = os.O_CREAT | os.O_EXCL | os.O_WRONLY
TRIES = 100  # at a name that nobody has


def check_directory(directory: Path) -> None:
    """Raise InputError where the directory can never be written to, before the work starts."""
    for path in (directory, *directory.parents):
        try:
            mode = os.stat(path).st_mode
        except (FileNotFoundError, NotADirectoryError):
            if path.is_symlink():
                raise InputError(f"{path}: is in the way: a link that leads nowhere") from None
            continue
        except (OSError, ValueError) as error:
            raise InputError(f"{path}: cannot be written: {_reason(error)}") from error
        if not stat.S_ISDIR(mode):
            raise InputError(f"{path}: is in the way: not a directory")
        if not os.access(path, os.W_OK | os.X_OK):
            raise InputError(f"{path}: cannot be written: no permission")
        return


def check_target(path: Path) -> None:
    """Raise InputError where this file can never be written, before the work starts."""
    check_directory(path.parent)
    if os.path.isdir(path):
        raise InputError(f"{path}: is in the way: a directory")
    if os.path.isfile(path):
        if not os.access(path, os.W_OK):  # moving another there would not ask
            raise InputError(f"{path}: cannot be written: it is read-only")
        check_directory(Path(os.path.realpath(path)).parent)


def write_files(directory: Path, contents: Mapping[str, str]) -> list[Path]:
    """Write texts by file name; returns the paths. Raises InputError where that fails."""
    return write_paths({directory / name: text for name, text in contents.items()})


def write_paths(texts: Mapping[Path, str]) -> list[Path]:
    """Write texts by path; returns the paths. Raises InputError where that fails."""

    def put(path: Path, part: Path) -> None:
        part.write_text(texts[path], encoding="utf-8", newline="\n")

    return _write(list(texts), put)


def write_json(path: Path | None, found: Any) -> list[Path]:
    """Write what was found where it was asked for; returns the path, or none where it was not.

    Raises InputError where that fails.
    """
    return write_paths({path: json.dumps(found, indent=1) + "\n"}) if path else []


def write_bytes(data: Mapping[Path, bytes]) -> list[Path]:
    """Write data by path; returns the paths. Raises InputError where that fails."""

    def put(path: Path, part: Path) -> None:
        part.write_bytes(data[path])

    return _write(list(data), put)


def write_whole(path: Path, write: Callable[[Path], None]) -> Path:
    """Let `write` write one file; returns its path. Raises InputError where that fails."""
    return _write([path], lambda _, part: write(part))[0]


def new_part(path: Path, is_directory: bool = False) -> Path:
    """Make an empty file, or directory, beside a path, to be filled and then moved there.

    Its name is one that nobody has, so that whatever else lies there is left alone, and what
    has the name is ours to remove. Raises OSError.
    """
    for _ in range(TRIES):
        part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
        try:
            if is_directory:
                part.mkdir()
            else:
                os.close(os.open(part, NEW_FILE, 0o666))
        except FileExistsError:
            continue
        return part
    raise FileExistsError(0, "no free name for a new file", str(path))


def _write(paths: list[Path], put: Callable[[Path, Path], None]) -> list[Path]:
    """Write every file beside its place first, then move all: an error leaves what was there.

    A link stays one, and what it leads to is written; a file that is there keeps its mode.
    """
    for path in paths:
        check_target(path)
    parts: dict[Path, Path] = {}
    path = paths[0]
    try:
        for path in paths:
            path.parent.mkdir(parents=True, exist_ok=True)
            parts[path] = new_part(_place(path))
            put(path, parts[path])
            if os.path.isfile(path):
                parts[path].chmod(stat.S_IMODE(os.stat(path).st_mode))
        for path in paths:
            parts[path].replace(_place(path))
            del parts[path]
    except OSError as error:
        # not the file of the error, which may be the part, or what is copied
        raise InputError(f"{path}: cannot be written: {_reason(error)}") from error
    finally:
        for part in parts.values():
            with suppress(OSError):
                part.unlink()
    return paths


def _place(path: Path) -> Path:
    """Where a file is to be: where a link leads to that is in its place."""
    return Path(os.path.realpath(path)) if os.path.isfile(path) else path


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
