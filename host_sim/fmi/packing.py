"""Makes the file of a unit: the plant, which needs nothing but Python, and one machine."""

from __future__ import annotations

import importlib.util
import json
import shutil
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from functools import partial
from modulefinder import ModuleFinder
from pathlib import Path
from typing import Any

from app.version import VERSION
from host_sim import FIRMWARE_DIR, PACKAGE_DIR
from host_sim.common.errors import InputError
from host_sim.common.output import write_whole
from host_sim.plant.parameters import rows
from host_sim.plant.spec import MachineSpec

UNIT = Path(__file__).with_name("simulated_machine.py")
SUFFIX = ".fmu"
INSTALLED = Path("host_sim/installed_tree/firmware")  # where an installed package has it


def pack(spec: MachineSpec, name: str, target: Path) -> Path:
    """Write the unit of a machine. Raises InputError where the package for it is not there."""
    if importlib.util.find_spec("pythonfmu") is None:
        raise InputError("this needs the package pythonfmu: pip install \".[fmi]\"")
    from pythonfmu.builder import FmuBuilder

    before = list(sys.path)
    with tempfile.TemporaryDirectory() as place:
        script = Path(place, "unit", UNIT.name)
        parts = Path(place, "parts")
        script.parent.mkdir()
        shutil.copy(UNIT, script)
        _copy_plant(parts)
        (parts / "machine.json").write_text(json.dumps(_table(spec, name), indent=1),
                                            encoding="utf-8")
        try:
            made = FmuBuilder.build_FMU(script, Path(place, f"made{SUFFIX}"), parts.iterdir(),
                                        canBeInstantiatedOnlyOncePerProcess=False)
        finally:
            sys.path[:] = before
            sys.modules.pop(UNIT.stem, None)
        return write_whole(target, partial(_move, made))


def _move(made: Path, part: Path) -> None:
    shutil.copyfile(made, part)


def _table(spec: MachineSpec, name: str) -> Mapping[str, Any]:
    """The machine as plain tables, what the kind leaves open, and what the unit says of itself."""
    tables = {table: {parameter: asdict(part)[parameter] for parameter in rows(type(part))}
              for table, part in spec.tables().items()}
    return {"kind": spec.kind, "description": name, "version": VERSION, **tables}


def _copy_plant(parts: Path) -> None:
    """Every module of the project that the unit needs, as an installed package has them."""
    finder = ModuleFinder(path=[str(PACKAGE_DIR.parent), str(FIRMWARE_DIR)])
    finder.run_script(str(UNIT))
    for module in finder.modules.values():
        file = getattr(module, "__file__", None)
        if not file:
            continue
        path = Path(file)
        for root, under in ((FIRMWARE_DIR, INSTALLED), (PACKAGE_DIR.parent, Path())):
            if path.is_relative_to(root) and path != UNIT:
                target = parts / under / path.relative_to(root)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(path, target)
                break
