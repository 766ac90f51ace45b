"""The plan that goes to a board, and the record of plots that comes home from it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from app.plan_file import PLAN_FILE
from app.trial_record import LOG_FILE
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.common.errors import InputError
from host_sim.common.output import write_bytes
from host_sim.common.reading import read_bytes
from host_sim.runs.plot_record import LARGEST_BYTES, SETTINGS_FILES


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
    """The record of plots of a board and its settings, as files by name.

    A board that never kept settings has none. Raises BoardError where there is no record.
    """
    files = {LOG_FILE: _fetched(port, LOG_FILE)}
    for name in SETTINGS_FILES:
        try:
            files[name] = _fetched(port, name)
        except BoardError:
            continue
    return files


def keep(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write what was fetched into a folder; returns the paths.

    A record only grows, so the one that is there already has to be the beginning of this one.
    Settings that did not come with it do not stay there as if they had. Raises InputError.
    """
    before = folder / LOG_FILE
    if before.is_file() and not files[LOG_FILE].startswith(read_bytes(before, LARGEST_BYTES)):
        raise InputError(f"{before}: is there already and is not the beginning of the record of "
                         "this board: give another folder")
    paths = write_bytes({folder / name: data for name, data in files.items()})
    for name in SETTINGS_FILES:
        if name not in files:
            (folder / name).unlink(missing_ok=True)
    return paths


def _fetched(port: MpremotePort, name: str) -> bytes:
    """A file of the board."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "file")
        port.do("fs", "cp", f":{name}", str(path))
        return path.read_bytes()
