"""A board at a serial port as MicroPython's own tool, mpremote, sees it.

Each call is one run of `python -m mpremote`. A running program is interrupted; main.py then
releases the board: outputs off, tick and watchdog stopped.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from host_sim import REPO_ROOT
from host_sim.common.errors import InputError

TIMEOUT_S = 300.0  # the longest, copying everything, takes about a minute
PLATFORMS = {"rp2": "RP2040/RP2350", "esp32": "ESP32"}
WHO_ARE_YOU = """
import sys
version = "%d.%d.%d" % sys.implementation.version[:3]
print(sys.platform, getattr(sys.implementation, "_mpy", 0) & 255, version)
"""
# What mpremote says of a port that is not there, by a piece of its text
NO_PORT = ("failed to access", "no device found", "could not open port", "No such file")

Runner = Callable[[Sequence[str]], "subprocess.CompletedProcess[str]"]


class BoardError(InputError):
    """The board or the line did not do what was asked; the text is one clear line."""


@dataclass(frozen=True)
class Identity:
    """What runs on a board: platform, version of its bytecode, version of MicroPython."""

    platform: str
    bytecode: int
    version: str


def run_mpremote(arguments: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Run mpremote once."""
    return subprocess.run(
        [sys.executable, "-m", "mpremote", *arguments],
        cwd=REPO_ROOT,
        capture_output=True,
        text=True,
        timeout=TIMEOUT_S,
        check=False,
    )


class MpremotePort:
    """One board. `runner` is run_mpremote, or something in its place in a test."""

    def __init__(self, port: str, runner: Runner = run_mpremote) -> None:
        self.port = port
        self._runner = runner

    def do(self, *commands: str) -> str:
        """Run mpremote commands on the board and return what they print. Raises BoardError."""
        try:
            done = self._runner(["connect", self.port, *commands])
        except subprocess.TimeoutExpired:
            raise BoardError(f"{self.port}: no end after {TIMEOUT_S:.0f} s") from None
        if done.returncode:
            raise BoardError(f"{self.port}: {self._reason(done.stdout + done.stderr)}")
        return done.stdout.replace("\r\n", "\n")

    def execute(self, program: str, keep: bool = False) -> str:
        """Run a program on the board, after a soft reset unless `keep`; return what it prints."""
        return self.do(*(["resume"] if keep else []), "exec", program)

    def _reason(self, text: str) -> str:
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        if any(piece in text for piece in NO_PORT):
            return "no board there: is it plugged in, and does no other program hold the port?"
        return lines[-1] if lines else "mpremote failed without a word"

    def identify(self) -> Identity:
        """Ask what runs there. Raises BoardError where it is nothing this firmware is for."""
        words = self.execute(WHO_ARE_YOU).split()
        if len(words) != 3 or words[0] not in PLATFORMS:
            known = " or ".join(PLATFORMS.values())
            raise BoardError(f"{self.port}: no MicroPython for {known} answers there")
        return Identity(words[0], int(words[1]), words[2])
