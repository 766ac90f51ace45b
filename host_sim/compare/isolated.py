"""Runs a command that cannot be trusted to end: its own processes, limits, and an end by force."""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

MEMORY_BYTES = 3 * 2**30  # of private data: a variant that wants more is told so
LINES_KEPT = 200_000
LONGEST_BYTES = 65_536  # of a line
LOOK_S = 0.2


@dataclass
class Ended:
    """What a command printed, and how it ended: its status, or why it had to be ended."""

    lines: list[str] = field(default_factory=list)
    status: int = 0
    stopped: str = ""  # empty: it ended by itself

    @property
    def killed(self) -> str:
        """By which signal it died, as words, empty where it did not."""
        if self.stopped or self.status >= 0:
            return ""
        with contextlib.suppress(ValueError):
            return f"died of {signal.Signals(-self.status).name}"
        return f"died of signal {-self.status}"


def run_isolated(command: Sequence[str], tree: Path, patience_s: float,
                 tell: Callable[[str], None] = lambda line: None) -> Ended:
    """Run Python with `command` in a tree of its own, and whatever it starts.

    It is ended when it has printed nothing for `patience_s`, and with it all its children.
    """
    environment = {name: value for name, value in os.environ.items()
                   if not name.startswith(("PYTEST", "PYTHON", "COV"))}
    environment |= {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1",
                    "PYTHONUNBUFFERED": "1", "COLUMNS": "200", "OMP_NUM_THREADS": "1"}
    process = subprocess.Popen(
        [sys.executable, *command], cwd=tree, env=environment, stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True,
        preexec_fn=_limit if os.name == "posix" else None)
    ended = Ended()
    try:
        _follow(process, ended, patience_s, tell)
    finally:
        _end_all(process)
    ended.status = process.wait()
    return ended


def _follow(process: subprocess.Popen[bytes], ended: Ended, patience_s: float,
            tell: Callable[[str], None]) -> None:
    chunks: queue.Queue[bytes] = queue.Queue()
    threading.Thread(target=_read, args=(process, chunks), daemon=True).start()
    heard_s, rest = time.monotonic(), b""
    while True:
        try:
            chunk = chunks.get(timeout=LOOK_S)
        except queue.Empty:
            if time.monotonic() - heard_s <= patience_s:
                continue
            ended.stopped = f"hangs: nothing came for {patience_s:g} s"
            break
        heard_s = time.monotonic()
        *whole, rest = (rest + chunk).split(b"\n")
        for line in whole[: LINES_KEPT - len(ended.lines)]:
            ended.lines.append(_text(line))
            tell(ended.lines[-1])
        if not chunk:
            break
        rest = rest[-LONGEST_BYTES:]
    if rest:  # a line that was begun says what hangs
        ended.lines.append(_text(rest))


def _text(line: bytes) -> str:
    return line[:LONGEST_BYTES].decode("utf-8", "replace").rstrip()


def _read(process: subprocess.Popen[bytes], chunks: queue.Queue[bytes]) -> None:
    """Put what comes as it comes, and nothing at its end."""
    assert process.stdout
    while chunk := os.read(process.stdout.fileno(), LONGEST_BYTES):
        chunks.put(chunk)
    chunks.put(b"")


def _limit() -> None:
    """In the new process, before the command: no more memory than this, and no core file."""
    import resource

    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _end_all(process: subprocess.Popen[bytes]) -> None:
    """End the process and all that it started: they are a group of their own."""
    if os.name == "posix":
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    elif process.poll() is None:
        process.kill()
