"""Takes what a GNSS receiver reports to the tick: its speed and, if asked for, its place."""

from rate_control.units import BY_GNSS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Protocol

    from app.nmea import NmeaSpeed
    from app.position import Position
    from rate_control.records import Inputs

    class GnssStream(Protocol):
        """What a receiver's bytes come from."""

        def any(self) -> int:
            """Return how many bytes can be read without a wait."""

        def readinto(self, buffer: bytearray) -> int | None:
            """Fill the buffer; return how many bytes were read."""

# Values of the setting can_use from which on the speed, and the place, are not from sentences
CAN_GROUND, CAN_WHEEL, CAN_GNSS = 1, 2, 3

CHUNK = 64  # bytes at a time; at 9600 bauds that is 67 ms


class Gnss:
    """Reads a receiver's sentences between ticks and writes its speed into the tick's inputs.

    inputs is None where the speed is from elsewhere, and only the place is asked for.

    stream has any() and readinto(buffer), as machine.UART has. The parser is loaded when the first
    bytes come: a board without a receiver keeps its memory for other things.
    """

    PERIOD_MS = 20

    def __init__(self, stream: "GnssStream", inputs: "Inputs | None", now_us: "Callable[[], int]",
                 position: "Position | None" = None) -> None:
        """now_us is a function that returns the time."""
        self._stream = stream
        self._inputs = inputs
        self._now_us = now_us
        self._position = position
        self._speed: "NmeaSpeed | None" = None
        self._buffer = bytearray(CHUNK)
        self._view = memoryview(self._buffer)

    def poll(self) -> None:
        """Take what has come."""
        stream = self._stream
        while stream.any():
            length = stream.readinto(self._buffer)
            if not length:
                return
            position = self._position
            if self._speed is None:
                if position is None:
                    from app.nmea import NmeaSpeed
                    self._speed = NmeaSpeed()
                else:
                    self._speed = position.reader
            speed = self._speed
            inputs = self._inputs
            if speed.feed(self._view[:length]) and inputs is not None:
                inputs.report(BY_GNSS, self._now_us(), speed.speed_mm_s, speed.valid)
            if position is not None:
                position.follow(self._now_us())
