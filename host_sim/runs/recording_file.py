"""The file of a recording: lines as they came over the link, each of which checks itself.

Between the board's telemetry stand lines of the host in the same form: `recording` begins a
session, `hello`, `settings` and `totals` are what the board answered then, `lost` and `stopped`
end it. The file only ever grows, so whatever happens, all whole lines stay readable.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from app.link_frame import MAX_RECORD, SEQUENCE_MASK, FrameError, parse, record
from host_sim.common.errors import InputError, plain
from host_sim.common.locking import locked
from host_sim.common.reading import MIB, check_file, parsed

TAIL_BYTES = 2 * MAX_RECORD  # a line that was cut off is shorter

LARGEST_BYTES = 16384 * MIB  # of a recording; a day of every tick has 0.3 GiB

NOT_A_RUN_LOG = ("is the run log of a board, which holds sums and no course: "
                 "give a recording, as `record --port` makes it")

BINARY = getattr(os, "O_BINARY", 0)  # where line ends would be changed otherwise

Body = dict[str, Any]


class RecordingStopped(Exception):
    """The file cannot grow any more; the text says why and what is kept."""


class RecordingFile:
    """Appends to a recording, which is made where there is none.

    Lines wait in memory until sync() writes them, so call it every second. `cut_off` is the
    number of bytes of a torn last line that opening removed.
    """

    def __init__(self, path: Path) -> None:
        """Raises InputError where the file cannot be opened or is no recording."""
        self.path = path
        self._waiting: list[bytes] = []
        self._sequence = 0
        self._ours = True  # until somebody else was seen to change the file
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | BINARY, 0o644)
        except OSError as error:
            raise InputError(f"{path}: cannot be opened: {error.strerror}") from error
        try:
            self._lock()
            self._size, self.cut_off = self._recover()
        except InputError:
            os.close(self._file)
            raise
        os.lseek(self._file, self._size, os.SEEK_SET)

    def _lock(self) -> None:
        """Keep every other recorder out; the system ends the lock with the program, crash or not.

        Where another one removed its empty file between our opening and our lock, ours has no
        name any more.
        """
        if not locked(self._file) or not self._still_there():
            raise InputError(f"{self.path}: another recorder is writing to it")

    def _still_there(self) -> bool:
        """Whether the name still leads to the file that is written."""
        try:
            return os.path.samestat(os.stat(self.path), os.fstat(self._file))
        except OSError:
            return False

    def _recover(self) -> tuple[int, int]:
        """Cut a torn last line off; returns the size and how many bytes went."""
        size = os.fstat(self._file).st_size
        if size == 0:
            return 0, 0
        head = self._read(0, MAX_RECORD)
        body = body_of(head.partition(b"\n")[0])
        if body is None or "recording" not in body:
            raise InputError(f"{self.path}:1: is no recording, nothing is appended to it")
        start = max(0, size - TAIL_BYTES)
        whole = self._read(start, size - start).rfind(b"\n") + 1
        if start and not whole:
            raise InputError(f"{self.path}: ends in something that is no recording")
        end = start + whole
        if end < size:
            os.ftruncate(self._file, end)
        return end, size - end

    def _read(self, start: int, count: int) -> bytes:
        os.lseek(self._file, start, os.SEEK_SET)
        return os.read(self._file, count)

    def add(self, line: bytes) -> None:
        """Keep a line of the board, without its end."""
        self._waiting.append(line + b"\n")

    def note(self, **body: Any) -> None:
        """Keep a line of the host."""
        self._sequence = (self._sequence + 1) & SEQUENCE_MASK
        self._waiting.append(record(self._sequence, json.dumps(body).encode()))

    def sync(self) -> None:
        """Write what waits, through to the disk. Raises RecordingStopped where that fails.

        What is on the disk then ends with the last line of the sync before. It fails, too,
        where the file was deleted, replaced or changed under our hands: nobody would find what
        is written from then on.
        """
        data = b"".join(self._waiting)
        self._waiting.clear()
        if not self._ours:
            return
        self._check_ours(data)
        if not data:
            return
        try:
            written = 0
            while written < len(data):
                written += os.write(self._file, data[written:])
            os.fsync(self._file)
        except OSError as error:
            os.ftruncate(self._file, self._size)
            raise RecordingStopped(
                f"{plain(self.path)}: {error.strerror}: the last {_lines(data)} lines are lost, "
                f"everything before is kept"
            ) from error
        self._size += len(data)

    def _check_ours(self, data: bytes) -> None:
        if not self._still_there():
            changed = "was deleted, moved or replaced while it was written"
        elif os.fstat(self._file).st_size != self._size:
            changed = "was changed by another program while it was written"
        else:
            return
        self._ours = False
        raise RecordingStopped(
            f"{plain(self.path)}: {changed}; the last {_lines(data)} lines are lost, too")

    def close(self) -> None:
        """Sync and close; a file with nothing in it is removed. Raises RecordingStopped."""
        try:
            self.sync()
        finally:
            empty = self._ours and not self._size and self._still_there()
            if empty:
                self.path.unlink(missing_ok=True)
            os.close(self._file)


def _lines(data: bytes) -> int:
    return data.count(b"\n")


def _is_run_log(line: bytes) -> bool:
    """Whether a line is one of `board log`, which are plain JSON."""
    try:
        entry = parsed(json.loads, line)
    except ValueError:
        return False
    return isinstance(entry, dict) and "run" in entry and ("volume_ml" in entry or "notes" in entry)


def body_of(line: bytes) -> Body | None:
    """The body of a line without its end, None where the line is not whole."""
    try:
        body = parsed(json.loads, parse(line)[1])
    except (FrameError, ValueError):
        return None
    return body if isinstance(body, dict) else None


def read_bodies(path: Path) -> Iterator[tuple[int, Body | None]]:
    """Line numbers from 1 on and bodies, None for a damaged line; one line in memory at a time.

    Raises InputError where the file cannot be read or is no recording.
    """
    check_file(path, LARGEST_BYTES)
    try:
        with path.open("rb") as file:
            number = 0
            while line := file.readline(MAX_RECORD):
                number += 1
                body = body_of(line.rstrip(b"\r\n"))
                if number == 1 and (body is None or "recording" not in body):
                    what = NOT_A_RUN_LOG if _is_run_log(line) else "is no recording"
                    raise InputError(f"{path}:1: {what}")
                yield number, body
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
