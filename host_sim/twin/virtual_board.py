"""A board whose pins lead into the simulated machine.

It keeps every promise of boards/board.py. What runs on it, the program, is given as `boot`,
as main.py is on a real board: it is called after power-up and after every reset.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from boards.board import Board
from host_sim.plant.machine import Actuation, Machine
from host_sim.twin.can_bus import wired_chip
from host_sim.twin.can_chip import CanChip
from host_sim.twin.card_chip import CardChip
from host_sim.twin.clock import VirtualClock
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Outputs
from rate_control.units import DUTY_FULL, TICK_US

WATCHDOG_US = 4 * TICK_US  # whole ticks: it is looked at once a tick
COUNT_START = LIMIT - 999  # the pulse counters wrap within the first pulses of a run

TickCallback = Callable[[int], None]


class MemoryFiles:
    """The board's flash as a dict: what app.files.Files is on a file system."""

    def __init__(self) -> None:
        self.slots: dict[str, bytes] = {}

    def read(self, name: str, offset: int = 0, length: int = -1) -> bytes:
        data = self.slots.get(name, b"")
        if offset < -len(data):
            return b""  # as a file system does that cannot go there
        piece = data[offset:]
        return piece if length < 0 else piece[:length]

    def write(self, name: str, data: bytes) -> None:
        self.slots[name] = bytes(data)

    def append(self, name: str, data: bytes) -> None:
        self.slots[name] = self.read(name) + bytes(data)


@dataclass
class Fittings:
    """What else is wired to the board, as the application asks for it (see boards/board.py).

    `keys` fills an app.keys.RawKeys. `files` keeps its content over every reset. `opening` is a
    mask of the hand switches whose contacts open when they are on, or down. `pressure` is a
    plant.pressure_sensor.PressureSensor. `card` is what is in a card's socket, where one is wired.
    """

    display: Any = None
    keys: Callable[[Any], None] | None = None
    link: Any = None
    files: MemoryFiles = field(default_factory=MemoryFiles)
    opening: int = 0
    pressure: Any = None
    card: CardChip | None = None


class VirtualBoard(Board):
    """Couples a machine to a program and moves both through time.

    `switches` says which hand switches are on, or down, one bit each as in rate_control.units;
    whoever plays the operator sets it, and the contacts follow. `stalled` holds the program up, as
    a long erase or an endless loop would: its ticks are lost until it is cleared. `lamp` and
    `buzzer` are what the program last made of them.
    """

    _callback: TickCallback | None
    _fed_us: int | None  # None: the watchdog does not run before it is first fed

    def __init__(
        self,
        clock: VirtualClock,
        machine: Machine,
        boot: Callable[[VirtualBoard], None],
        fittings: Fittings | None = None,
    ) -> None:
        self.machine = machine
        self.switches = 0
        self.stalled = False
        self.lamp = self.buzzer = 0
        self.actuation = Actuation()
        self.fittings = fittings or Fittings()
        self._can = wired_chip(machine)
        self._clock = clock
        if self.fittings.card:
            self.fittings.card.now_us = self.now_us  # type: ignore[method-assign]
        self._boot = boot
        self._period_us = 0
        self._due_us = 0
        self.reset("power")

    def advance(self, step_us: int, speed_m_s: float) -> None:
        """Live on for step_us, while the ground speed goes linearly to speed_m_s.

        Whatever is due at the end of the step happens then: the watchdog first, then the tick.
        """
        clock = self._clock
        clock.advance(step_us)
        self.machine.advance(clock.total_us, self.actuation, speed_m_s)
        self.actuation.valve_pulse_ms = 0  # it has ended, or the next write gives a new one
        if self._fed_us is not None and clock.total_us - self._fed_us > WATCHDOG_US:
            self.reset("watchdog")
            return
        if self._callback and clock.total_us >= self._due_us:
            self._due_us += self._period_us
            if not self.stalled:
                self._callback(0)

    def reset(self, cause: str) -> None:
        """Lose the program and start it anew, with every output off before it runs."""
        self.release()
        if cause == "power" and self.fittings.card:
            self.fittings.card.power_up()
        self._cause = cause
        self.stalled = False
        self._boot(self)

    # The promises of Board.

    def now_us(self) -> int:
        return self._clock.now_us

    def read(self, inputs: Inputs) -> None:
        machine = self.machine
        speed, flow = machine.speed_input, machine.flow_input
        if machine.faults.pulses_swapped:
            speed, flow = flow, speed
        inputs.speed_count = (speed.count + COUNT_START) & LIMIT
        inputs.speed_edge_us = speed.last_edge_us & LIMIT
        inputs.flow_count = (flow.count + COUNT_START) & LIMIT
        inputs.flow_edge_us = flow.last_edge_us & LIMIT
        inputs.switches = self.switches ^ self.fittings.opening
        inputs.supply_mv = machine.supply_mv

    def write(self, outputs: Outputs) -> None:
        actuation = self.actuation
        actuation.duty = outputs.duty_u16 / DUTY_FULL
        actuation.valve_pulse_ms = outputs.valve_pulse_ms
        actuation.section_mask = outputs.section_mask

    def make_safe(self) -> None:
        actuation = self.actuation
        actuation.duty = 0.0
        actuation.valve_pulse_ms = 0
        actuation.section_mask = 0

    def start_tick(self, callback: TickCallback, period_us: int) -> None:
        self._callback = callback
        self._period_us = period_us
        self._due_us = self._clock.total_us + period_us

    def feed_watchdog(self) -> None:
        self._fed_us = self._clock.total_us

    def reset_cause(self) -> Any:
        return self._cause

    def idle(self) -> None:
        """Time moves by `advance` alone, so there is nothing to wait for."""

    def release(self) -> None:
        self.make_safe()
        self._callback = None
        self._fed_us = None

    def files(self) -> MemoryFiles:
        return self.fittings.files

    def link_stream(self) -> Any:
        return self.fittings.link

    def gnss_stream(self) -> Any:
        return self.machine.gnss if self.machine.spec.gnss.hz else None

    def can_port(self) -> CanChip:
        return self._can

    def card_port(self) -> CardChip | None:
        return self.fittings.card

    def pressure_input(self) -> Any:
        return self.fittings.pressure

    def display(self) -> Any:
        return self.fittings.display

    def read_keys(self, raw: Any) -> None:
        if self.fittings.keys:
            self.fittings.keys(raw)

    def signal(self, lamp: int, buzzer: int) -> None:
        self.lamp = lamp
        self.buzzer = buzzer
