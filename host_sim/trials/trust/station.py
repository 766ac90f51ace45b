"""A machine with the whole firmware, a person at its switches, and a watch over the promises."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, cast

from host_sim.plant.machine import Machine
from host_sim.trials.trust.breaks import BROWN_OUT, HANG, POWER_CYCLE, RAISE, STALL, Break
from host_sim.trials.trust.machines import Ready
from host_sim.trials.trust.promises import Promises
from host_sim.twin.clock import VirtualClock
from host_sim.twin.flashed import opening_contacts
from host_sim.twin.stepped import SteppedRun
from host_sim.twin.virtual_board import Fittings, MemoryFiles, VirtualBoard
from rate_control.records import Inputs, Outputs
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT, TICK_US

TICK_S = TICK_US * 1e-6
BOUNCE_SHARE = 0.3  # of the ticks in which a bouncing switch reads the other way
LINES_A_TICK = 400  # of firmware, about; a brown-out strikes at one of them
ACCELERATION_M_S2 = 1.0


class WatchedFiles(MemoryFiles):
    """Flash that tells when it is written."""

    def __init__(self, slots: dict[str, bytes]) -> None:
        super().__init__()
        self.slots = dict(slots)
        self.station: Station | None = None

    def write(self, name: str, data: bytes) -> None:
        self._tell()
        super().write(name, data)

    def append(self, name: str, data: bytes) -> None:
        self._tell()
        super().append(name, data)

    def _tell(self) -> None:
        if self.station is not None:
            self.station.promises.flash_written(self.station.outputs_on)


class WatchedBoard(VirtualBoard):
    """Tells the promises what passes between firmware and board."""

    station: Station

    def read(self, inputs: Inputs) -> None:
        super().read(inputs)
        self.station.promises.read(inputs)

    def write(self, outputs: Outputs) -> None:
        super().write(outputs)
        self.station.promises.write(outputs, self.station.controller)

    def feed_watchdog(self) -> None:
        super().feed_watchdog()
        self.station.promises.fed()

    def release(self) -> None:
        super().release()
        if hasattr(self, "station"):
            self.station.promises.begin()


class Station:
    """Everything of one run. `hands` are the levels that the person's hands ask for."""

    def __init__(self, machine: Ready, seed: str) -> None:
        clock = VirtualClock()
        self.settings = machine.settings
        self.promises = Promises(machine.settings)
        files = WatchedFiles(machine.slots)
        plant = Machine(machine.spec, 1, clock.total_us)
        fittings = Fittings(files=files, opening=opening_contacts(machine.settings))
        self.run = SteppedRun(plant, clock, fittings, self._board)
        self.machine = plant
        self._rng = Random(seed)
        self.hands = ((1 << machine.spec.sections.count) - 1) << SWITCH_SECTION_SHIFT
        self.asked_m_s = 0.0
        files.station = self
        self._stuck_on = self._stuck_off = self._bouncing = 0

    def _board(self, *parts: Any) -> VirtualBoard:
        WatchedBoard.station = self  # the board begins to work while it is being made
        board = WatchedBoard(*parts)
        board.station = self
        return board

    @property
    def controller(self) -> Any:
        return self.run.application.controller

    @property
    def state(self) -> int:
        return int(self.controller.decided.state)

    @property
    def outputs_on(self) -> bool:
        """Whether the board drives anything, whatever the program believes."""
        actuation = self.run.board.actuation
        return bool(actuation.duty or actuation.section_mask or actuation.valve_pulse_ms)

    def reseed(self, seed: str) -> None:
        """From here on what is random follows from this."""
        self._rng = Random(seed)

    def live(self, seconds: float, look: Callable[[], None] = lambda: None) -> None:
        """Let time pass, a tick at a time; `look` is called after each."""
        for _ in range(round(seconds / TICK_S)):
            self._tick()
            look()

    def _tick(self) -> None:
        run = self.run
        raw = (self.hands | self._stuck_on) & ~self._stuck_off
        if self._bouncing and self._rng.random() < BOUNCE_SHARE:
            raw ^= self._bouncing
        run.board.switches = raw
        change = self.asked_m_s - run.speed_m_s
        most = ACCELERATION_M_S2 * TICK_S
        run.speed_m_s += min(max(change, -most), most)
        run.step()

    def switch(self, mask: int, on: bool) -> None:
        """Move hand switches."""
        self.hands = self.hands | mask if on else self.hands & ~mask

    def arm(self) -> None:
        """Master off, then on."""
        self.switch(SWITCH_MASTER, False)
        self.live(0.5)
        self.switch(SWITCH_MASTER, True)
        self.live(0.5)

    def lower(self, down: bool) -> None:
        """Lower or lift the implement."""
        self.switch(SWITCH_IMPLEMENT, down)

    def bench(self, speed_mm_s: int) -> None:
        """Ask for the bench and give it a speed, as a person confirms it at the machine."""
        application = self.run.application
        application.enter_bench(confirmed_at_machine=True)
        self.live(0.15)
        application.set_bench_speed(speed_mm_s, confirmed_at_machine=True)

    def strike(self, entry: Break) -> None:
        """Let something break; it stays broken."""
        faults = self.machine.faults
        for name, value in entry.plant.items():
            if isinstance(value, dict):
                for index, item in value.items():
                    getattr(faults, name)[index] = item
            else:
                setattr(faults, name, value)
        self._stuck_on |= entry.stuck_on
        self._stuck_off |= entry.stuck_off
        self._bouncing |= entry.bouncing
        self.switch(entry.then_off, False)
        self._suffer(entry.program)

    def _suffer(self, program: str) -> None:
        run = self.run
        if program == STALL:
            run.board.stalled = True
        elif program == HANG:
            run.polling = False
        elif program == RAISE:
            run.application.inputs = cast(Inputs, None)
        elif program == BROWN_OUT:
            run.brown_out(self._rng.randint(1, LINES_A_TICK))
        elif program == POWER_CYCLE:
            run.board.reset("power")

