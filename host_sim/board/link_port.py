"""Lines that the link runs over: a serial port, or a pipe in memory to a twin."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

from host_sim.common.errors import InputError

BAUD = 115_200
READ_TIMEOUT_S = 0.02
WRITE_TIMEOUT_S = 1.0
PIPE_BYTES = 4096


class LinkPort(Protocol):
    """One end of a line. Whatever goes wrong on it is an OSError."""

    def read(self, limit: int, /) -> bytes:
        """Return at most `limit` bytes, waiting a little while nothing has arrived."""

    def write(self, data: bytes, /) -> None:
        """Send everything."""

    def close(self) -> None:
        """Let go of the line."""

    def now_s(self) -> float:
        """The time by which to wait for the other side."""


class SerialPort:
    """A serial port by its name, or any URL that pyserial understands (socket://, loop://)."""

    def __init__(self, name: str, baud: int = BAUD) -> None:
        """Raises OSError where it cannot be opened."""
        import serial  # type: ignore[import-untyped]

        # The modem lines stay as they are: on some boards they reset the chip.
        self._serial = serial.serial_for_url(
            name, baudrate=baud, timeout=READ_TIMEOUT_S, write_timeout=WRITE_TIMEOUT_S,
            exclusive=None if "://" in name else True,
        )

    def read(self, limit: int, /) -> bytes:
        waiting = min(max(self._serial.in_waiting, 1), limit)
        return bytes(self._serial.read(waiting))

    def write(self, data: bytes, /) -> None:
        self._serial.write(data)

    def close(self) -> None:
        self._serial.close()

    def now_s(self) -> float:
        return time.monotonic()


def open_serial(name: str, baud: int = BAUD) -> SerialPort:
    """Open a serial port for the first time. Raises InputError where that is not possible."""
    try:
        return SerialPort(name, baud)
    except (OSError, ValueError) as error:
        raise InputError(f"{name}: cannot be opened: {error}") from error


class BoardEnd:
    """The board's end of a pipe, a stream as app/link.py wants it."""

    def __init__(self, arriving: bytearray, leaving: bytearray) -> None:
        self._arriving = arriving
        self._leaving = leaving

    def read(self, limit: int, /) -> bytes | None:
        data = bytes(self._arriving[:limit])
        del self._arriving[: len(data)]
        return data or None

    def write(self, data: bytes | memoryview, /) -> int | None:
        room = PIPE_BYTES - len(self._leaving)
        taken = bytes(data[:room])
        self._leaving.extend(taken)
        return len(taken) or None


class PipePort:
    """The host's end of a pipe in memory; `board_end` goes to the board.

    While nothing has arrived, reading lets the twin live on: `advance()` moves it by a little
    and `now_s()` tells its time.
    """

    def __init__(self, advance: Callable[[], None], now_s: Callable[[], float]) -> None:
        self._advance = advance
        self._now_s = now_s
        self._arriving = bytearray()
        self._leaving = bytearray()
        self.board_end = BoardEnd(self._leaving, self._arriving)

    def read(self, limit: int, /) -> bytes:
        if not self._arriving:
            self._advance()
        data = bytes(self._arriving[:limit])
        del self._arriving[: len(data)]
        return data

    def write(self, data: bytes, /) -> None:
        self._leaving.extend(data)

    def close(self) -> None:
        self._arriving.clear()
        self._leaving.clear()

    def now_s(self) -> float:
        return self._now_s()
