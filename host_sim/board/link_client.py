"""The host's side of the link: asks, waits for the answer, and keeps what comes unasked.

One thread, one request at a time. A request that gets no answer is sent again unchanged; the
board recognises it and does not do it twice. See docs/reference/link.md.
"""

from __future__ import annotations

import json
import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.link import TURNS
from app.link_frame import MAX_BODY, SEQUENCE_MASK, FrameError, LineReader, parse, record
from app.telemetry import SIZE
from host_sim.board.answers import answer_problem, is_telemetry
from host_sim.board.link_port import LinkPort
from host_sim.common.reading import parsed

# A board sends 32 bytes in a poll of its link (boards/console_port.py), one in 5 ms or, while it
# draws or collects garbage, in 10. The longest answer can come after TURNS records of telemetry;
# half a second is for the work on it.
BYTES_S = 32 / 0.010
TIMEOUT_S = 0.5 + (MAX_BODY + TURNS * SIZE) / BYTES_S
ATTEMPTS = 4
UNASKED = 4096  # records that wait for take(); the oldest give way

Body = dict[str, Any]


class LinkError(Exception):
    """Something about the link; the text says it to a person."""


class LinkLost(LinkError):
    """The line is gone, or nobody answers on it."""


class Refused(LinkError):
    """The board answered with an error record: its word, and every problem in words."""

    def __init__(self, request: str, word: str, problems: list[str]) -> None:
        super().__init__(f"{request}: {'; '.join(problems) or word}")
        self.word = word
        self.problems = problems


class Misunderstood(LinkError):
    """The board answered something else than the question; the text says what is wrong."""


@dataclass(frozen=True)
class Record:
    """One whole record as it came, `line` without its end."""

    line: bytes
    sequence: int
    body: Body


class LinkClient:
    """Asks over one port, which is opened when it is needed and again after it was lost.

    `open_port` raises OSError where it cannot. `bad_lines` counts lines that were no record:
    noise, or records that lost a piece. `overflowed` counts unasked records that were lost
    because nobody took them.
    """

    def __init__(
        self,
        open_port: Callable[[], LinkPort],
        timeout_s: float = TIMEOUT_S,
        attempts: int = ATTEMPTS,
        chance: random.Random | None = None,
    ) -> None:
        self.bad_lines = 0
        self.overflowed = 0
        self._open_port = open_port
        self._timeout_s = timeout_s
        self._attempts = attempts
        # A number that the last client did not use: else the board could take the first
        # request for a repetition.
        self._sequence = (chance or random.Random()).randrange(SEQUENCE_MASK + 1)
        self._port: LinkPort | None = None
        self._reader = LineReader()
        self._unasked: deque[Record] = deque(maxlen=UNASKED)

    def ask(self, request: str, **arguments: Any) -> Body:
        """Return the answer to a request.

        Raises Refused, Misunderstood, or LinkLost after all attempts.
        """
        self._sequence = (self._sequence + 1) & SEQUENCE_MASK
        body = json.dumps({"do": request} | arguments).encode()
        try:
            line = record(self._sequence, body)
        except ValueError as error:
            raise Refused(request, "too_long", [str(error)]) from error
        for _ in range(self._attempts):
            self._write(line)
            answer = self._wait(self._sequence)
            if answer is not None:
                return _checked(request, answer)
        raise LinkLost(f"{request}: no answer in {self._attempts * self._timeout_s:.0f} s")

    def take(self) -> list[Record]:
        """Return what has come unasked, telemetry above all. Raises LinkLost."""
        if not self._unasked:
            self._receive()
        taken = list(self._unasked)
        self._unasked.clear()
        return taken

    def now_s(self) -> float:
        """The time by which the port waits. Raises LinkLost."""
        return self._opened().now_s()

    def close(self) -> None:
        """Let go of the port; the next request opens it again."""
        if self._port is not None:
            self._port.close()
            self._port = None
        self._reader = LineReader()

    def _opened(self) -> LinkPort:
        if self._port is None:
            try:
                self._port = self._open_port()
                self._port.write(b"\n")  # ends whatever the board has of a line so far
            except OSError as error:
                raise self._lost(error) from error
        return self._port

    def _lost(self, error: OSError) -> LinkLost:
        self.close()
        return LinkLost(f"the line is lost: {error}")

    def _write(self, line: bytes) -> None:
        try:
            self._opened().write(line)
        except OSError as error:
            raise self._lost(error) from error

    def _wait(self, sequence: int) -> Body | None:
        """The answer to a sequence number, None where none comes in time."""
        port = self._opened()
        end_s = port.now_s() + self._timeout_s
        while port.now_s() < end_s:
            answer = self._receive(sequence)
            if answer is not None:
                return answer
        return None

    def _receive(self, sequence: int | None = None) -> Body | None:
        """Read once and sort what came; return the answer to `sequence` if it is among it."""
        try:
            data = self._opened().read(self._reader.space())
        except OSError as error:
            raise self._lost(error) from error
        self._reader.feed(data)
        answer = None
        while (line := self._take_line()) is not None:
            found = self._parsed(line)
            if found is None:
                continue
            if "to" not in found.body:
                self._keep(found)
            elif sequence is not None and found.body["to"] == sequence:
                answer = found.body
        return answer

    def _take_line(self) -> bytes | None:
        try:
            line: bytes | None = self._reader.take()
        except FrameError:
            self.bad_lines += 1
            return b""
        return line

    def _parsed(self, line: bytes) -> Record | None:
        if not line:
            return None
        try:
            sequence, body = parse(line)
            loaded = parsed(json.loads, body)
        except (FrameError, ValueError):
            self.bad_lines += 1
            return None
        return Record(line, sequence, loaded) if isinstance(loaded, dict) else None

    def _keep(self, found: Record) -> None:
        if "do" in found.body:  # our own request: the line echoes
            return
        if "telemetry" in found.body and not is_telemetry(found.body["telemetry"]):
            self.bad_lines += 1
            return
        if len(self._unasked) == UNASKED:
            self.overflowed += 1
        self._unasked.append(found)


def _checked(request: str, answer: Body) -> Body:
    if "error" in answer:
        told = answer.get("problems", [])
        problems = [str(problem) for problem in (told if isinstance(told, list) else [told])]
        raise Refused(request, str(answer["error"]), problems)
    problem = answer_problem(request, answer)
    if problem:
        raise Misunderstood(f"{request}: {problem}; is this firmware another version?")
    return answer
