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
from host_sim.common.errors import InputError

TAIL_BYTES = 2 * MAX_RECORD  # a line that was cut off is shorter

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
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise InputError(f"{path}: cannot be opened: {error.strerror}") from error
        try:
            self._size, self.cut_off = self._recover()
        except InputError:
            os.close(self._file)
            raise
        os.lseek(self._file, self._size, os.SEEK_SET)

    def _recover(self) -> tuple[int, int]:
        """Cut a torn last line off; returns the size and how many bytes went."""
        size = os.fstat(self._file).st_size
        if size == 0:
            return 0, 0
        head = os.pread(self._file, MAX_RECORD, 0)
        body = body_of(head.partition(b"\n")[0])
        if body is None or "recording" not in body:
            raise InputError(f"{self.path}:1: is no recording, nothing is appended to it")
        start = max(0, size - TAIL_BYTES)
        whole = os.pread(self._file, size - start, start).rfind(b"\n") + 1
        if start and not whole:
            raise InputError(f"{self.path}: ends in something that is no recording")
        end = start + whole
        if end < size:
            os.ftruncate(self._file, end)
        return end, size - end

    def add(self, line: bytes) -> None:
        """Keep a line of the board, without its end."""
        self._waiting.append(line + b"\n")

    def note(self, **body: Any) -> None:
        """Keep a line of the host."""
        self._sequence = (self._sequence + 1) & SEQUENCE_MASK
        self._waiting.append(record(self._sequence, json.dumps(body).encode()))

    def sync(self) -> None:
        """Write what waits, through to the disk. Raises RecordingStopped where that fails.

        What is on the disk then ends with the last line of the sync before.
        """
        data = b"".join(self._waiting)
        self._waiting.clear()
        if not data:
            return
        try:
            written = 0
            while written < len(data):
                written += os.write(self._file, data[written:])
            os.fsync(self._file)
        except OSError as error:
            os.ftruncate(self._file, self._size)
            lines = data.count(b"\n")
            raise RecordingStopped(
                f"{self.path}: {error.strerror}: the last {lines} lines are lost, "
                f"everything before is kept"
            ) from error
        self._size += len(data)

    def close(self) -> None:
        """Sync and close; a file with nothing in it is removed. Raises RecordingStopped."""
        try:
            self.sync()
        finally:
            os.close(self._file)
            if not self._size:
                self.path.unlink(missing_ok=True)


def body_of(line: bytes) -> Body | None:
    """The body of a line without its end, None where the line is not whole."""
    try:
        body = json.loads(parse(line)[1])
    except (FrameError, ValueError):
        return None
    return body if isinstance(body, dict) else None


def read_bodies(path: Path) -> Iterator[tuple[int, Body | None]]:
    """Line numbers from 1 on and bodies, None for a damaged line; one line in memory at a time.

    Raises InputError where the file cannot be read or is no recording.
    """
    try:
        with path.open("rb") as file:
            number = 0
            while line := file.readline(MAX_RECORD):
                number += 1
                body = body_of(line.rstrip(b"\r\n"))
                if number == 1 and (body is None or "recording" not in body):
                    raise InputError(f"{path}:1: is no recording")
                yield number, body
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error
