"""The record of a trial: a line for each plot and for each thing that a person chose.

A line is a record as on the link (see link_frame.py), numbered on, so it says itself whether it is
whole. Lines wait in memory until outputs are off; a power cut loses those, and nothing else.
"""

import json

from app.link_frame import FrameError, parse, record

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.files import LogFiles
    from app.store import Store

LOG_FILE = "trial.log"
TAIL = 1400  # bytes: at least two lines
LINES_MAX = 2000  # some 700 kB
NEARLY = 100  # lines before that it is told
WAITING_LINES = 8
FULL = "record full: fetch"
NOT_KEPT = "a plot was not kept: outputs were never off"


class TrialRecord:
    """Appends to LOG_FILE through the store, which knows when it may. problem says what failed."""

    def __init__(self, files: "LogFiles", store: "Store") -> None:
        self.problem = ""
        self.count = 0  # lines so far, those that wait among them
        self._files = files
        self._store = store
        self._lines: list[bytes] = []
        self._torn = b""

    def last(self) -> dict | None:
        """Return the last whole line of the file; what is added goes on from there."""
        tail = self._files.read(LOG_FILE, -TAIL) or self._files.read(LOG_FILE)
        if tail[-1:] not in (b"", b"\n"):
            self._torn = b"\n"  # the power was cut within the line
        found = None
        for line in tail.split(b"\n"):
            try:
                number, body = parse(line)
                content = json.loads(body)
                found = content if isinstance(content, dict) else {}
                self.count = number + 1
            except (FrameError, ValueError):
                continue
        return found

    def full(self) -> str:
        """Return that there is no room for another plot, or ""."""
        return FULL if self.count >= LINES_MAX else ""

    def room(self) -> str:
        """Return what a person should know of the room that is left, or ""."""
        left = LINES_MAX - self.count
        return "record: room for %d" % left if left <= NEARLY else ""

    def keep(self, body: dict) -> None:
        """Let a line wait for a moment with outputs off."""
        if len(self._lines) >= WAITING_LINES:
            self.problem = NOT_KEPT
            return
        self._lines.append(record(self.count, json.dumps(body).encode()))
        self.count += 1

    def poll(self) -> None:
        """Write the line that has waited longest, where that may be."""
        if self._lines and not self._store.at_rest(self._append, self._lines[0]):
            self._lines.pop(0)

    def _append(self, line: bytes) -> str:
        try:
            self._files.append(LOG_FILE, self._torn + line)
        except OSError as error:
            self._torn = b"\n"  # a part of it may be there
            self.problem = "cannot be written: %s" % error
            return self.problem
        self._torn = b""
        self.problem = ""
        return ""
