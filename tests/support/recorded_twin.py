"""A recording as a board leaves it, made of the whole firmware on the twin over the link."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from host_sim.board.recorder import Recorder
from host_sim.plant.machine import Machine
from host_sim.runs.recording_file import RecordingFile
from host_sim.twin.card_chip import CardChip
from host_sim.twin.clock import US_PER_S, VirtualClock
from host_sim.twin.hands import Hands
from host_sim.twin.operated import STEP_US, OperatedRun
from host_sim.twin.scenario import Scenario
from host_sim.twin.virtual_board import Fittings, MemoryFiles, VirtualBoard

Boot = Callable[[VirtualBoard], None]
BEGAN = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


class RecordedTwin(OperatedRun):
    """The firmware on the scenario's machine, driven as it says once `begin` was called."""

    def __init__(self, scenario: Scenario, card: CardChip | None = None) -> None:
        settings = scenario.settings
        self._scenario = scenario
        self._began_us: int | None = None
        clock = VirtualClock()

        def wired(clock: VirtualClock, machine: Machine, boot: Boot, fittings: Fittings
                  ) -> VirtualBoard:
            return VirtualBoard(clock, machine, boot, replace(fittings, card=card))

        super().__init__(
            Machine(scenario.machine, scenario.seed, clock.total_us), clock, MemoryFiles(), wired)
        self.hands = Hands(scenario.events, settings.section_count, settings.rate_ml_ha)
        self.board.switches = self.hands.switches

    @property
    def driven_s(self) -> float:
        elapsed_us = self.clock.elapsed_us
        return 0.0 if self._began_us is None else (elapsed_us - self._began_us) / US_PER_S

    def begin(self) -> None:
        """Give the board its settings, then drive off."""
        self.live(1.0)
        for name, value in self._scenario.settings.as_dict().items():
            self.link.ask("settings.set", values={name: value})
        self.take_settings_on()
        if self._scenario.settings.position_use:  # it acts from the next start on
            self.live(2.0)
            self.board.reset("power")
        self.live(0.5)
        while self.clock.elapsed_us % US_PER_S:  # however long the settings took
            self.live(STEP_US / US_PER_S)
        self._began_us = self.clock.elapsed_us

    def step(self, step_us: int = STEP_US) -> None:
        if self._began_us is not None:
            self.speed_m_s = float(self._scenario.speed_trace.at(self.driven_s))
            self.hands.act(self.driven_s, self.machine.distance_m)
            self.board.switches = self.hands.switches
        super().step(step_us)


def record_twin(path: Path, scenario: Scenario, every_ticks: int = 2,
                card: CardChip | None = None) -> list[float]:
    """Record the whole drive; returns what each section let out in truth, in mL."""
    twin = RecordedTwin(scenario, card)
    twin.begin()
    recorder = Recorder(
        twin.link, RecordingFile(path), "pipe", lambda text: None, every_ticks,
        clock=lambda: twin.now_s, pause=twin.live,
        wall=lambda: BEGAN + timedelta(seconds=twin.driven_s))
    rates = [twin.hands.rate_ml_ha]

    def stopped() -> bool:
        if twin.hands.rate_ml_ha != rates[-1]:
            rates.append(twin.hands.rate_ml_ha)
            twin.link.ask("rate.set", rate_ml_ha=rates[-1])
        return twin.driven_s >= scenario.speed_trace.duration_s

    recorder.run(stopped)
    return list(twin.machine.section_volume_ml)
