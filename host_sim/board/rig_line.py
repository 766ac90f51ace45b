"""The host's side of the bench rig's line: requests, answers, and rows of what is true.

`firmware/bench_rig/program.py` has the table of requests.
"""

from __future__ import annotations

import json
from typing import Any

from host_sim.board.link_client import LinkError
from host_sim.board.link_port import LinkPort
from host_sim.common.reading import parsed

ANSWER_S = 5.0
READ_BYTES = 4096
VERSION = 1  # of the rig's program that this speaks with

Row = list[int]
Told = dict[str, Any]


class RigError(LinkError):
    """The rig did not do what was asked, or does not answer."""


class RigLine:
    """One rig on one port. `over` is what it told at the end of a run, None before."""

    def __init__(self, port: LinkPort) -> None:
        self.over: Told | None = None
        self._port = port
        self._line = bytearray()
        self._rows: list[Row] = []
        self._answers: list[Told] = []
        port.write(b"\n")  # ends whatever the rig has of a line so far

    def ask(self, request: str, **arguments: Any) -> Told:
        """The answer to a request. Raises RigError."""
        self._answers.clear()
        self._port.write(json.dumps({"do": request} | arguments).encode() + b"\n")
        end_s = self._port.now_s() + ANSWER_S
        while self._port.now_s() < end_s:
            self._receive()
            if self._answers:
                answer = self._answers.pop(0)
                if "error" in answer:
                    raise RigError(f"the rig refuses: {answer['error']}")
                return answer
        raise RigError("no rig answers: is its program on it (board flash --rig)?")

    def greet(self) -> None:
        """Make sure of the rig at the other end. Raises RigError."""
        version = self.ask("hello").get("rig")
        if version != VERSION:
            raise RigError(f"the rig's program has version {version}, this host speaks {VERSION}: "
                           "board flash --rig")

    def start(self) -> None:
        """Begin the run that was loaded."""
        self.over = None
        self._rows.clear()
        self.ask("start")

    def take(self) -> list[Row]:
        """The rows that have come since the last call; waits a little where none has."""
        if not self._rows:
            self._receive()
        taken, self._rows = self._rows, []
        return taken

    def _receive(self) -> None:
        try:
            self._line.extend(self._port.read(READ_BYTES))
        except OSError as error:
            raise RigError(f"the line to the rig is lost: {error}") from error
        *lines, rest = self._line.split(b"\n")
        self._line = bytearray(rest)
        for line in lines:
            try:
                told = parsed(json.loads, bytes(line))
            except ValueError:
                continue  # what the board's own prompt says while it starts
            if isinstance(told, list):
                self._rows.append(told)
            elif isinstance(told, dict) and "over" in told:
                self.over = told
            elif isinstance(told, dict):
                self._answers.append(told)
