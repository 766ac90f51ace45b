"""The recorder: the board streams, the host keeps it, for minutes or for days.

What has come is on the disk a second later. A line that is lost is opened again, with a gap in
the recording that says so. Nothing grows in memory.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from host_sim.board.link_client import LinkClient, LinkLost
from host_sim.runs.recording_file import RecordingFile

EVERY_TICKS = 2
SYNC_S = 1.0
SILENCE_S = 2.0  # without telemetry for this long, the board was reset or the line is gone
RETRY_S = 1.0

Tell = Callable[[str], None]


def _utc() -> datetime:
    return datetime.now(UTC)


@dataclass
class Tally:
    """What was recorded. `gaps` counts the times the line was lost, `missing_s` their length.

    `dropped` are records that the board left out because the line was too slow, `bad_lines`
    those that came in pieces.
    """

    records: int = 0
    gaps: int = 0
    missing_s: float = 0.0
    dropped: int = 0
    bad_lines: int = 0


class Recorder:
    """Records from one client into one file. `tell` is given what a person should know."""

    def __init__(
        self,
        client: LinkClient,
        file: RecordingFile,
        port: str,
        tell: Tell,
        every_ticks: int = EVERY_TICKS,
        clock: Callable[[], float] = time.monotonic,
        pause: Callable[[float], None] = time.sleep,
        wall: Callable[[], datetime] = _utc,
    ) -> None:
        self.tally = Tally()
        self._client = client
        self._file = file
        self._port = port
        self._tell = tell
        self._every_ticks = every_ticks
        self._clock = clock
        self._pause = pause
        self._wall = wall
        self._lost_at_s: float | None = None
        self._synced_s = clock()

    def run(self, stopped: Callable[[], bool]) -> None:
        """Record until `stopped` says so, then close the file. Raises RecordingStopped."""
        try:
            while not stopped():
                try:
                    self._begin_session()
                    self._stream(stopped)
                except LinkLost as lost:
                    self._lose(lost)
            self._end()
        finally:
            self._file.close()

    def _begin_session(self) -> None:
        """Ask who is there and how it is set, and let it stream. Raises LinkLost."""
        client = self._client
        hello = client.ask("hello")
        settings = client.ask("settings.get")
        totals = client.ask("totals.get")
        client.ask("telemetry.set", every_ticks=self._every_ticks)
        client.take()  # what was streamed before the session has no place in its time
        self._file.note(recording=1, started=self._now(), port=self._port)
        self._file.note(hello=_facts(hello))
        self._file.note(settings=settings["values"])
        self._file.note(totals=_facts(totals))
        self._file.sync()
        if self._lost_at_s is not None:
            missing_s = self._clock() - self._lost_at_s
            self.tally.missing_s += missing_s
            self._lost_at_s = None
            self._tell(f"recording again, {missing_s:.0f} s are missing")

    def _stream(self, stopped: Callable[[], bool]) -> None:
        """Keep what comes. Raises LinkLost, also where nothing comes."""
        heard_s = self._clock()
        while not stopped():
            for record in self._client.take():
                if "telemetry" not in record.body:
                    continue
                heard_s = self._clock()
                self._file.add(record.line)
                self.tally.records += 1
                self.tally.dropped = record.body["telemetry"][1]
            self.tally.bad_lines = self._client.bad_lines
            if self._clock() - heard_s > SILENCE_S:
                raise LinkLost(f"no telemetry for {SILENCE_S:g} s")
            self._sync_when_due()

    def _sync_when_due(self) -> None:
        if self._clock() - self._synced_s >= SYNC_S:
            self._synced_s = self._clock()
            self._file.sync()

    def _lose(self, lost: LinkLost) -> None:
        """Say and note once that the line is gone, and wait before the next attempt."""
        if self._lost_at_s is None:
            self._lost_at_s = self._clock()
            self._tell(f"{lost}; all that came is kept, trying again every {RETRY_S:g} s")
            if self.tally.records:
                self.tally.gaps += 1
                self._file.note(lost=self._now(), why=str(lost))
                self._file.sync()
        self._client.close()
        self._pause(RETRY_S)

    def _end(self) -> None:
        if self.tally.records:
            self._file.note(stopped=self._now(), dropped=self.tally.dropped,
                            bad_lines=self.tally.bad_lines)
        if self._lost_at_s is None:
            try:
                self._client.ask("telemetry.set", every_ticks=0)
            except LinkLost:
                self._tell("the line was lost at the very end; all that came is kept")
        self._client.close()
    def _now(self) -> str:
        return self._wall().isoformat(timespec="milliseconds")


def _facts(answer: dict[str, object]) -> dict[str, object]:
    return {name: value for name, value in answer.items() if name not in ("answer", "to")}
