"""The stepped run in the hands of one person: keys and display before them, a cable beside.

Whatever a person does at a machine goes through here, and so it is deterministic: what happens
depends on the calls and on how many steps lie between them, never on the time of day.
"""

from __future__ import annotations

from typing import Any

from host_sim.board.link_client import LinkClient
from host_sim.board.link_port import PipePort
from host_sim.plant.machine import Machine
from host_sim.plant.pressure_sensor import PressureSensor
from host_sim.twin.clock import US_PER_S, VirtualClock
from host_sim.twin.front_panel import SimulatedPanel
from host_sim.twin.stepped import MakeBoard, SteppedRun
from host_sim.twin.virtual_board import Fittings, MemoryFiles, VirtualBoard

GAIN_M_S2 = 3.0  # brisk for a machine; common practice, no source
STEP_US = 10_000  # keys are read in every one

SET_UP_NOTCHES = 4  # from the top of the menu
TAKE_ON_NOTCHES = 40  # to the end of set up, however long it is


class OperatedRun(SteppedRun):
    """A machine with the whole firmware, its front panel and its link.

    `panel` is in the hands of the operator, `link` at the other end of the cable. `speed_m_s`
    and `board.switches` may be changed between calls: the machine gains speed as machines do
    until it drives so fast, and loses it at once. A file system that was used before gives the
    board back what it kept.
    """

    def __init__(self, machine: Machine, clock: VirtualClock, files: MemoryFiles,
                 make_board: MakeBoard = VirtualBoard,
                 pressure: PressureSensor | None = None) -> None:
        self._ground_m_s = 0.0
        self.panel = SimulatedPanel()
        port = PipePort(self.step, lambda: self.now_s)
        self.link = LinkClient(lambda: port)
        fittings = Fittings(self.panel.display, self.panel.read_keys, port.board_end, files=files,
                            pressure=pressure)
        super().__init__(machine, clock, fittings, make_board)

    @property
    def now_s(self) -> float:
        """Simulated time since power-up."""
        return self.clock.elapsed_us / US_PER_S

    def step(self, step_us: int = STEP_US) -> None:
        """Let so much time pass, then let the loop of the program go round once.

        Everything that makes time go by comes through here, the link's waiting too, so this is
        the place where a subclass plays what goes on around the board.
        """
        super().step(step_us)

    def _next_speed_m_s(self, step_us: int) -> float:
        gained_m_s = GAIN_M_S2 * step_us / US_PER_S
        self._ground_m_s = min(self.speed_m_s, self._ground_m_s + gained_m_s)
        return self._ground_m_s

    def wire_link(self, stream: Any) -> None:
        """Wire another line to the board, as app/link.py wants it, and power it up anew."""
        self.board.fittings.link = stream
        self.board.reset("power")

    def live(self, seconds: float) -> None:
        """Let this much simulated time go by."""
        for _ in range(round(seconds * US_PER_S / STEP_US)):
            self.step()

    def settle(self) -> None:
        """Let everything that was done on the panel be read, and the display follow."""
        while self.panel.busy:
            self.step()
        self.live(0.3)

    def take_settings_on(self) -> None:
        """Take the settings on at the machine, by its keys, from the work screen and back to it."""
        self.panel.push()
        for notches in (SET_UP_NOTCHES, TAKE_ON_NOTCHES):
            self.panel.turn(notches)
            self.panel.push()
        self.panel.push()
        self.panel.back()
        self.panel.back()
        self.settle()
