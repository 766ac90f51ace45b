"""The run log: one line a run, kept on the board for download; notes of the start among them.

A run lasts from the first tick that applies until outputs have been off for a second. Its line
is a record as on the link, numbered by the run, so every line says itself whether it is whole.
Lines fill one small file after the other; the oldest file makes room for the next.
"""

import json

from app.link_frame import SEQUENCE_MASK, FrameError, parse, record
from rate_control.faults import names
from rate_control.interlock import APPLYING
from rate_control.intmath import LIMIT
from rate_control.totals import Register
from rate_control.trace import FIELDS
from rate_control.units import AREA_PER_RATE, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Iterator

    from app.files import LogFiles
    from app.store import Store
    from app.trace_ring import TraceRing

SEGMENTS = ("runs.0", "runs.1", "runs.2", "runs.3")
SEGMENT_BYTES = 4096  # one erase block, some twenty runs
END_TICKS = 1000 // TICK_MS
WAITING = 8  # runs that may wait for a moment at rest
VERSION = 1  # of a line; one without a version is of the first
ON_TARGET = 10  # a tick is on target while the flow is off by at most a tenth of it

STATE, FLOW, TARGET, DISTANCE, VOLUME, WIDTH, FAULTS = (
    FIELDS.index(name) for name in (
        "state", "flow_ul_s", "target_ul_s", "distance_mm", "volume_ul", "width_mm", "faults"))


class RunLog:
    """Follows the trace ring, and writes through the store, which knows when it may.

    files holds SEGMENTS; segment is the one that is written now.
    """

    def __init__(self, store: "Store", files: "LogFiles", ring: "TraceRing") -> None:
        self.problem = ""
        self._store = store
        self.files = files
        self._ring = ring
        self._reader = ring.count
        self._waiting: list[bytes] = []
        self.segment, self._number = self._find_end()
        self._begin()

    def _find_end(self) -> tuple[int, int]:
        """Return the segment that was written last, and the number of the next run."""
        last_segment = 0
        following = None
        for segment, name in enumerate(SEGMENTS):
            for number, _ in lines(self.files.read(name)):
                if following is None or _is_from(following, number):
                    last_segment = segment
                    following = (number + 1) & SEQUENCE_MASK
        return last_segment, following or 0

    def _begin(self) -> None:
        self._ticks = 0
        self._off_ticks = 0
        self._on_target = 0
        self._faults = 0
        self._distance = Register(1000)  # m and mm
        self._volume = Register(1000)  # mL and uL
        self._area = Register(1000000)  # m2 and mm2

    def poll(self) -> None:
        """Take in the ticks since the last call; call it at least every two seconds."""
        ring = self._ring
        if ring.behind(self._reader) > ring.KEPT:
            self._reader = (ring.count - ring.KEPT) & LIMIT
        while self._reader != ring.count:
            self._follow(ring.line(self._reader))
            self._reader = (self._reader + 1) & LIMIT
        if self._waiting and not self._store.at_rest(self._write, self._waiting[0]):
            self._waiting.pop(0)

    def _follow(self, line: list[int]) -> None:
        applying = line[STATE] == APPLYING
        if not applying and not self._ticks:
            return
        self._volume.add(line[VOLUME])
        self._faults |= line[FAULTS]  # the one that ended the run, too
        if not applying:
            self._off_ticks += 1
            if self._off_ticks >= END_TICKS:
                self._end()
            return
        self._ticks += 1
        self._off_ticks = 0
        self._distance.add(line[DISTANCE])
        self._area.add(line[DISTANCE] * line[WIDTH])
        self._on_target += abs(line[FLOW] - line[TARGET]) <= line[TARGET] // ON_TARGET

    def _end(self) -> None:
        """Make the line of the run that is over."""
        area_mm2 = self._area.whole * self._area.base + self._area.part
        volume_ul = self._volume.whole * self._volume.base + self._volume.part
        self._keep({
            "time_s": self._ticks * TICK_MS // 1000,
            "distance_m": self._distance.whole,
            "area_m2": self._area.whole,
            "volume_ml": self._volume.whole,
            "mean_ml_ha": volume_ul * AREA_PER_RATE // area_mm2 if area_mm2 else 0,
            "on_target_permille": self._on_target * 1000 // self._ticks,
            "faults": names(self._faults),
        })
        self._begin()

    def note(self, texts: list[str]) -> None:
        """Keep what was done at the start as a line among the runs."""
        self._keep({"notes": texts})

    def _keep(self, body: dict) -> None:
        """Number a line, and let it wait for a moment at rest."""
        body["run"] = self._number
        body["version"] = VERSION
        line = record(self._number, json.dumps(body).encode())
        self._number = (self._number + 1) & SEQUENCE_MASK
        if len(self._waiting) < WAITING:
            self._waiting.append(line)
        else:
            self.problem = "a run was not kept"

    def _write(self, line: bytes) -> str:
        """Append a line; return "" or a problem."""
        name = SEGMENTS[self.segment]
        try:
            held = self.files.read(name)
            if held and not held.endswith(b"\n"):
                line = b"\n" + line  # the power was cut within the line before
            if len(held) + len(line) <= SEGMENT_BYTES:
                self.files.append(name, line)
                return ""
            self.segment = (self.segment + 1) % len(SEGMENTS)
            self.files.write(SEGMENTS[self.segment], line)
        except OSError as error:
            self.problem = "runs cannot be written: %s" % error
            return self.problem
        return ""


def _is_from(start: int, number: int) -> bool:
    """Return whether a run comes at or after number start; numbers wrap."""
    return (number - start) & SEQUENCE_MASK <= SEQUENCE_MASK // 2


def lines(data: bytes, start: int | None = None) -> "Iterator[tuple[int, bytes]]":
    """Yield (number, body) of every whole line, or of those from a number on.

    The number is looked at first: a checksum takes far longer.
    """
    for line in data.split(b"\n"):
        digits = line[line.find(b" ") + 1 :].split(b" ", 1)[0]
        if start is not None and digits.isdigit() and not _is_from(start, int(digits)):
            continue
        try:
            yield parse(line)
        except FrameError:
            continue
