"""What an argument MACHINE means: a kind from the catalogue, or a machine file."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from host_sim.common.errors import InputError, plain
from host_sim.machine_file.machine import SUFFIX, MachineFile, load_machine
from host_sim.machine_file.twin_spec import spec_of
from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.spec import MachineSpec


class Chosen(NamedTuple):
    """A machine to be simulated; from a kind there is no file, so its owner enters settings."""

    name: str
    spec: MachineSpec
    entered: dict[str, Any] | None
    file: MachineFile | None


def chosen(text: str) -> Chosen:
    """The machine that is meant. Raises InputError."""
    if text in KINDS:
        return Chosen(text, machine_spec(text), None, None)
    if not text.endswith(SUFFIX):
        raise InputError(f"{text}: is neither a machine file ({SUFFIX}) nor one of "
                         f"{', '.join(KINDS)}")
    machine = load_machine(Path(text))
    return Chosen(plain(machine.title), spec_of(machine), machine.settings.as_dict(), machine)
