"""The link over the port that MicroPython's console uses: USB serial, or the ESP32's UART.

The console's own read and write wait, so each byte is asked for first. A single byte 03 (Ctrl-C)
still interrupts the program, which is how new firmware gets in; records never contain it.
"""

import sys
from select import POLLIN, POLLOUT, poll

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

WRITE_BYTES = 32  # a call: the display and the keys must have their turn


class ConsolePort:
    """A stream as app/link.py wants it: read() and write() never wait."""

    def __init__(self, source: "Any" = None, sink: "Any" = None) -> None:
        source = source or sys.stdin
        sink = sink or sys.stdout
        self._in = source.buffer
        self._out = sink.buffer
        self._readable = poll()
        self._readable.register(source, POLLIN)
        self._writable = poll()
        self._writable.register(sink, POLLOUT)
        self._buffer = bytearray(0)

    def read(self, limit: int) -> memoryview | None:
        """Return what has arrived, at most limit bytes; None where nothing has."""
        if not self._readable.poll(0):
            return None
        if len(self._buffer) < limit:
            self._buffer = bytearray(limit)
        count = 0
        while count < limit and self._readable.poll(0):
            byte = self._in.read(1)
            if not byte:
                break
            self._buffer[count] = byte[0]
            count += 1
        return memoryview(self._buffer)[:count]

    def write(self, data: bytes | memoryview) -> int:
        """Send what can be sent without waiting; return how many bytes that were."""
        count = 0
        limit = min(len(data), WRITE_BYTES)
        while count < limit and self._writable.poll(0):
            self._out.write(data[count:count + 1])
            count += 1
        return count
