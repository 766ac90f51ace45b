"""The machines of the matrix: every kind of the catalogue, set up by its own procedures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from app.start_up import build as build_application
from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.machine import Machine
from host_sim.plant.spec import MachineSpec
from host_sim.trials.acceptance.sequence import START_HUNDREDS, unit_rate_l_ha
from host_sim.trials.commissioning.commission import commission
from host_sim.trials.trust.breaks import PUMP, RECEIVER, VALVE, Break
from host_sim.twin.clock import VirtualClock
from host_sim.twin.virtual_board import Fittings, MemoryFiles, VirtualBoard
from rate_control.settings import Settings, build
from rate_control.units import TICK_US

SEED = 1
WITH_RECEIVER = "electric_l"  # a GNSS receiver watches over its speed sensor
SAVED_TICKS = 60


@dataclass(frozen=True)
class Ready:
    """A machine that has learned, and the content of its controller's flash."""

    spec: MachineSpec
    settings: Settings
    slots: dict[str, bytes]

    def takes(self, entry: Break) -> bool:
        """Whether a fault can happen to it."""
        has = {VALVE: self.spec.valve is not None, PUMP: self.spec.valve is None,
               RECEIVER: self.spec.gnss.hz > 0.0}
        return has.get(entry.needs, True)


KIND_NAMES = tuple(KINDS)


@cache
def ready(kind: str) -> Ready:
    """The machine of a kind, after its commissioning."""
    spec = machine_spec(kind)
    if kind == WITH_RECEIVER:
        spec = spec.override(gnss={"hz": 5.0})
    learned = commission(spec, SEED).settings
    rate_ml_ha = 1000 * START_HUNDREDS * unit_rate_l_ha(learned)
    settings, problems = build({"rate_ml_ha": rate_ml_ha}, learned)
    assert settings is not None, problems
    return Ready(spec, settings, flash_with(spec, settings))


def flash_with(spec: MachineSpec, settings: Settings) -> dict[str, bytes]:
    """What a controller keeps that was given these settings."""
    clock, files = VirtualClock(), MemoryFiles()
    machine = Machine(spec, SEED, clock.total_us)
    made = []

    def boot(board: VirtualBoard) -> None:
        made.append(build_application(board))
        made[-1].start()

    board = VirtualBoard(clock, machine, boot, Fittings(files=files))
    problems = made[-1].change_settings(settings.as_dict())
    assert not problems, problems
    problem = made[-1].take_on(confirmed_at_machine=True)
    assert not problem, problem
    for _ in range(SAVED_TICKS):
        board.advance(TICK_US, 0.0)
        made[-1].poll()
    assert files.slots, "the settings were not kept"
    return files.slots
