"""Starts the panel: in the foreground until it is interrupted, or beside something else."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from host_sim.board.link_port import SerialPort, open_serial
from host_sim.panel.board_session import BoardSession
from host_sim.panel.guard import Guard
from host_sim.panel.saver import OUT
from host_sim.panel.server import Server
from host_sim.panel.session import Session
from host_sim.panel.twin_session import TwinSession
from host_sim.twin.plain_drive import scenario_for

LOOPBACK = "127.0.0.1"
UP_S = 10.0


def twin_session(scenario: Path | None, machine: Path | None = None, out: Path = OUT) -> Session:
    """A session with the twin of a scenario, of a machine file, or of both. Raises InputError.

    Drives are saved below `out`.
    """
    return TwinSession(scenario_for(scenario, machine_file=machine), out)


def board_session(port: str) -> Session:
    """A session with the board at a serial port. Raises InputError where there is none."""
    open_serial(port).close()
    return BoardSession(lambda: SerialPort(port))


def serve(session: Session, address: str, port: int) -> int:
    """Serve a session until interrupted; returns the exit status. Raises InputError."""
    guard = Guard(address)
    server = Server(session, guard)

    def ready() -> None:
        session.start()
        print(f"The panel is at {guard.url}   (Ctrl-C ends it)", flush=True)

    try:
        asyncio.run(server.serve(port, ready))
    except KeyboardInterrupt:
        print()  # the ordinary end, on a line of its own
    finally:
        if session.is_alive():
            session.stop()
    return 1 if session.failure else 0


@contextmanager
def in_background(session: Session, address: str = LOOPBACK) -> Iterator[Guard]:
    """Serve a session, started or not, in a thread while the block runs; gives its guard."""
    guard = Guard(address)
    up = threading.Event()
    serving: list[tuple[asyncio.AbstractEventLoop, asyncio.Task[None]]] = []

    async def serve_here() -> None:
        task = asyncio.current_task()
        assert task is not None
        serving.append((asyncio.get_running_loop(), task))
        await Server(session, guard).serve(0, up.set)

    def run() -> None:
        with suppress(asyncio.CancelledError):
            asyncio.run(serve_here())

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    if not up.wait(UP_S):
        raise RuntimeError("the panel's server did not come up")
    try:
        yield guard
    finally:
        loop, task = serving[0]
        loop.call_soon_threadsafe(task.cancel)
        thread.join()
