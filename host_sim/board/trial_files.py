"""The plan that goes to a board, and the record of plots that comes home from it."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from app.plan_file import PLAN_FILE
from app.trial_record import LOG_FILE
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.runs.plot_record import SETTINGS_FILES


def send(port: MpremotePort, data: bytes) -> None:
    """Put a plan on the board, read it back, and start the board. Raises BoardError."""
    port.identify()
    with TemporaryDirectory() as folder:
        there, back = Path(folder, "plan"), Path(folder, "back")
        there.write_bytes(data)
        port.do("fs", "cp", str(there), f":{PLAN_FILE}")
        port.do("fs", "cp", f":{PLAN_FILE}", str(back))
        if back.read_bytes() != data:
            raise BoardError(f"{port.port}: the plan reads back differently; send it again")
    port.do("reset")


def fetch(port: MpremotePort) -> dict[str, bytes]:
    """The record of plots of a board and its settings, as files by name; it starts anew then.

    A board that never kept settings has none. Raises BoardError where there is no record.
    """
    port.identify()
    files = {LOG_FILE: _fetched(port, LOG_FILE)}
    for name in SETTINGS_FILES:
        try:
            files[name] = _fetched(port, name)
        except BoardError:
            continue
    port.do("reset")
    return files


def _fetched(port: MpremotePort, name: str) -> bytes:
    """A file of the board."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "file")
        port.do("fs", "cp", f":{name}", str(path))
        return path.read_bytes()
