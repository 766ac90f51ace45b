"""The link: answers requests and streams telemetry over anything that reads and writes bytes.

The stream's read(limit) returns what has arrived, at most limit bytes, or None or b"" where
nothing has; write(data) takes what it can and returns how many bytes that were, or None. Neither
may wait. A UART made with timeout=0 is such a stream, and so is boards/console_port.py.

One poll does a bounded amount of work: it reads at most CHUNK bytes, answers at most one request
and makes at most one record. While a record is on its way out no request is taken, so the other
side is held up and nothing piles up here. Telemetry that is due goes before the next request, at
most TURNS records of it: neither of the two can keep the other off the line.
"""

import json

from app import link_requests
from app.link_frame import MAX_BODY, SEQUENCE_MASK, FrameError, LineReader, RecordWriter, parse
from app.snapshot import Snapshot
from app.telemetry import SIZE, Telemetry

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Protocol

    from app.application import Application
    from app.grid import Grid
    from app.run_log import RunLog

    class LinkStream(Protocol):
        """What the link reads and writes; neither may wait."""

        def read(self, limit: int) -> bytes | None:
            """Return what has arrived."""

        def write(self, data: memoryview) -> int | None:
            """Take what it can; return how many bytes that were."""

CHUNK = 128
OPENINGS = 16  # brackets and braces in one request, so that nothing nests deeply
SHORT = 128
TURNS = 4  # records of telemetry from one answer to the next, while requests wait


class Link:
    """One stream, on which operations of one application are asked for.

    run_log and grid are what the board keeps and shows, None where it does not. refused counts
    lines answered by an error record, failures what went wrong below: the stream, the memory.
    """

    def __init__(
        self, stream: "LinkStream", application: "Application",
        run_log: "RunLog | None" = None, grid: "Grid | None" = None
    ) -> None:
        self.application = application
        self.run_log = run_log
        self.grid = grid
        self._record = RecordWriter(SIZE)
        self.telemetry = Telemetry(application, self._record)
        self.snapshot = Snapshot()
        self.refused = 0
        self.failures = 0
        self._stream = stream
        self._reader = LineReader()
        self._answer = RecordWriter()
        self._complaint = RecordWriter(SHORT)  # about lines that are no request
        self._out = self._answer  # what is being sent, from _sent on
        self._sent = 0
        self._sequence = 0
        self._turns = 0  # records of telemetry since the last answer
        # marks the request that _answer belongs to
        self._answered: tuple[int, bytes, int] | None = None

    def poll(self) -> None:
        """Do what can be done now; it never waits and never raises."""
        try:
            self._receive()
            requests_first = self._turns >= TURNS
            if not requests_first:
                self._tell()
            if self._idle():
                self._take_line()
            if requests_first:
                self._tell()
            self._send()
        except (OSError, MemoryError):  # the other side asks again; the machine goes on
            self.failures += 1

    def _idle(self) -> bool:
        return self._sent >= self._out.length

    def _tell(self) -> None:
        """Begin to send the telemetry that is due, if the line is free."""
        if self.telemetry.poll(self._idle(), self._sequence):
            if self._turns < TURNS:
                self._turns += 1
            self._start(self._record)

    def _receive(self) -> None:
        limit = min(CHUNK, self._reader.space())
        data = self._stream.read(limit)
        if data:
            self._reader.feed(data)

    def _send(self) -> None:
        if self._idle():
            return
        out = self._out
        taken = self._stream.write(memoryview(out.buffer)[self._sent : out.length])
        if taken:
            self._sent += taken

    def _start(self, writer: RecordWriter) -> None:
        """Begin to send what a writer holds, a new record."""
        self._out = writer
        self._sent = 0
        self._sequence = (self._sequence + 1) & SEQUENCE_MASK

    def _take_line(self) -> None:
        try:
            line = self._reader.take()
            if line:
                self._take_record(line)
        except FrameError as error:
            self._send_record(self._complaint, self._text({"error": error.args[0]}, None))

    def _take_record(self, line: bytes) -> None:
        """Answer a request; a repeated one gets the same answer again and is not done twice.

        A record that is no request is passed over: two links that hear each other, or an echo,
        would otherwise complain to each other for ever. Raises FrameError.
        """
        self._turns = 0
        sequence, body = parse(line)
        mark = (sequence, line[-4:], len(line))
        if mark == self._answered:
            self._out = self._answer
            self._sent = 0
            return
        text = self._answer_to(sequence, body)
        if text:
            self._answered = mark
            self._send_record(self._answer, text)

    def _answer_to(self, sequence: int, body: bytes) -> str:
        """Return the text of the answer to a body, "" where it is no request."""
        try:
            request = _loaded(body)
            if request is None:
                return self._text({"error": "malformed"}, sequence)
            if "do" not in request:
                return ""
            text = self._text(link_requests.answer(self, request), sequence)
            if len(text) <= MAX_BODY:
                return text
            problem = "the answer is too long"
        except Exception as error:  # whatever it is, a request must not take the link down
            problem = "%s: %s" % (type(error).__name__, error)
        return self._text(link_requests.error("internal", [problem]), sequence)

    def _text(self, body: dict, to: int | None) -> str:
        """Return the body of an answer as text; to is the sequence number of the request."""
        if "error" in body:
            self.refused += 1
        body["to"] = to
        return json.dumps(body)

    def _send_record(self, writer: RecordWriter, text: str) -> None:
        writer.begin(self._sequence)
        writer.put(text.encode())
        writer.finish()
        self._start(writer)


def _loaded(body: bytes) -> dict | None:
    """Return the JSON object in a body, None where there is none."""
    if body.count(b"[") + body.count(b"{") > OPENINGS:
        return None
    try:
        request = json.loads(body)
    except ValueError:
        return None
    return request if isinstance(request, dict) else None
