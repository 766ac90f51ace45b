"""Telemetry: every n-th tick as one record, made without allocating.

A record carries the trace line of its tick, with two changes: distance and volume are running
sums, so that a record that gets lost takes nothing with it; and some numbers come before. Behind
it stands what the parts of the application add to a line (see trace_more.py).
"""

from rate_control.intmath import LIMIT
from rate_control.trace import FIELDS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Protocol

    from app.application import Application

    class NumberWriter(Protocol):
        """What records are made with, see RecordWriter."""

        def begin(self, sequence: int) -> None:
            """Start a record."""

        def put(self, data: bytes) -> None:
            """Append bytes."""

        def put_number(self, number: int) -> None:
            """Append a number."""

        def finish(self) -> None:
            """Make the record whole."""

# tick counts ticks since power-up and dropped the records left out since; both, like the sums
# and the time, wrap at 2**30. rate_ml_ha is the rate asked for.
BEFORE = ("tick", "dropped", "rate_ml_ha")
SUMS = {"distance_mm": "distance_sum_mm", "volume_ul": "volume_sum_ul"}
NAMES = BEFORE + tuple([SUMS.get(name, name) for name in FIELDS])

EVERY_MAX = 200  # ticks
SIZE = 512  # bytes, a record at its longest: see the test
PATIENCE = 24  # ticks that a busy link is waited for before a record is dropped

_DISTANCE = FIELDS.index("distance_mm")
_VOLUME = FIELDS.index("volume_ul")
_OPEN = b'{"telemetry": ['
_COMMA = b","
_CLOSE = b"]}"


class Telemetry:
    """Follows the trace ring of an application; writer holds the record made last.

    every is the number of ticks from record to record, 0 for none. dropped counts records left
    out because the link was busy, lost the ticks that were overwritten before they were read.
    """

    def __init__(self, application: "Application", writer: "NumberWriter") -> None:
        self.every = 0
        self.dropped = 0
        self.lost = 0
        self.writer = writer
        self._application = application
        self._ring = application.ring
        self._reader = application.ring.count
        self._distance_mm = 0
        self._volume_ul = 0

    def poll(self, idle: bool, sequence: int) -> bool:
        """Follow the ring; return whether a record with this sequence number was made.

        While the link is not idle a record that is due waits in the ring, for PATIENCE ticks.
        """
        ring = self._ring
        overwritten = ring.behind(self._reader) - ring.KEPT
        if overwritten > 0:
            self.lost += overwritten
            self._reader = (self._reader + overwritten) & LIMIT
        while self._reader != ring.count:
            due = self.every and self._reader % self.every == 0
            if due and not idle:
                if ring.behind(self._reader) <= PATIENCE:
                    return False
                self.dropped += 1
            line = ring.line(self._reader)
            self._distance_mm = (self._distance_mm + line[_DISTANCE]) & LIMIT
            self._volume_ul = (self._volume_ul + line[_VOLUME]) & LIMIT
            if due and idle:
                self._write(line, sequence)
            self._reader = (self._reader + 1) & LIMIT
            if due and idle:
                return True
        return False

    def _write(self, line: list[int], sequence: int) -> None:
        writer = self.writer
        writer.begin(sequence)
        writer.put(_OPEN)
        writer.put_number(self._reader)
        writer.put(_COMMA)
        writer.put_number(self.dropped)
        writer.put(_COMMA)
        writer.put_number(self._application.controller.request.rate_ml_ha)
        index = 0
        for number in line:
            if index == _DISTANCE:
                number = self._distance_mm
            elif index == _VOLUME:
                number = self._volume_ul
            writer.put(_COMMA)
            writer.put_number(number)
            index += 1
        writer.put(_CLOSE)
        writer.finish()
