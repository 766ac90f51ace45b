"""Files that a command leaves behind: all of them, whole, or none."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from host_sim.common.errors import InputError


def check_directory(directory: Path) -> None:
    """Raise InputError where the directory can never be written to, before the work starts."""
    for path in (directory, *directory.parents):
        if path.exists():
            if not path.is_dir():
                raise InputError(f"{path}: is in the way: not a directory")
            return


def write_files(directory: Path, contents: Mapping[str, str]) -> list[Path]:
    """Write texts by file name; returns the paths. Raises InputError where that fails."""
    return write_paths({directory / name: text for name, text in contents.items()})


def write_paths(texts: Mapping[Path, str]) -> list[Path]:
    """Write texts by path; returns the paths. Raises InputError where that fails."""

    def put(path: Path, part: Path) -> None:
        part.write_text(texts[path], encoding="utf-8", newline="\n")

    return _write(list(texts), put)


def write_whole(path: Path, write: Callable[[Path], None]) -> Path:
    """Let `write` write one file; returns its path. Raises InputError where that fails."""
    return _write([path], lambda _, part: write(part))[0]


def _write(paths: list[Path], put: Callable[[Path, Path], None]) -> list[Path]:
    """Write every file beside its place first, then move all: an error leaves what was there."""
    parts = {path: path.with_name(path.name + ".part") for path in paths}
    try:
        for path, part in parts.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            put(path, part)
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        for part in parts.values():
            with suppress(OSError):
                part.unlink()
        raise InputError(f"{error.filename or paths[0]}: cannot be written: {error.strerror}"
                         ) from error
    return paths
