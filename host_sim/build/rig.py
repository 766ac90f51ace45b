"""Builds the bench rig's program for a board: its own folder, and what it takes of the firmware."""

from __future__ import annotations

import ast
import shutil
from pathlib import Path

from host_sim import FIRMWARE_DIR
from host_sim.build.firmware import BuiltFile, compile_tree
from host_sim.hardware.rig_rules import RIG_DIR, check_rig

MAIN = "main.py"
# What the rig shares with the controller; the board's own table of pins is not among it.
SHARED = (
    "boards/console_port.py", "boards/rp2_pulse_pio.py", "boards/rp2_pulses.py",
    "boards/wiring.py", "rate_control/intmath.py", "rate_control/units.py",
)  # fmt: skip


def build_rig(directory: Path, compiled: bool = True) -> list[BuiltFile]:
    """Compile, or only copy, everything into a directory that is made anew.

    Raises InputError where a pin breaks a rule, before anything is written.
    """
    check_rig()
    if directory.exists():
        shutil.rmtree(directory)
    sources = [*sorted(RIG_DIR.glob("*.py")), *(FIRMWARE_DIR / name for name in SHARED)]
    files = [_one(source, directory, compiled) for source in sources
             if source != RIG_DIR / MAIN]
    main = directory / MAIN  # MicroPython runs no other by itself
    shutil.copyfile(RIG_DIR / MAIN, main)
    return [*files, BuiltFile(MAIN, RIG_DIR / MAIN, main)]


def _one(source: Path, directory: Path, compiled: bool) -> BuiltFile:
    relative = source.relative_to(FIRMWARE_DIR)
    name = relative.with_suffix(".mpy").as_posix() if compiled else relative.as_posix()
    built = directory / name
    built.parent.mkdir(parents=True, exist_ok=True)
    if compiled:
        compile_tree(ast.parse(source.read_text("utf-8")), built, name)
    else:
        shutil.copyfile(source, built)
    return BuiltFile(name, source, built)
