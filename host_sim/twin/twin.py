"""The twin: the firmware's application, on a virtual board, in a simulated machine, on a drive.

Everything is deterministic: the same scenario and seed give the same record, bit for bit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

from host_sim.common.versions import versions
from host_sim.machine_file.pressure_file import read_pressure_file
from host_sim.plant.machine import Machine
from host_sim.plant.pressure_sensor import PressureSensor
from host_sim.plant.way import Way
from host_sim.runs.judged import M2_HA
from host_sim.runs.recorder import RowRecorder
from host_sim.twin.breaking import Breaking
from host_sim.twin.card_chip import CardChip
from host_sim.twin.clock import US_PER_S, VirtualClock
from host_sim.twin.disturbances import set_field
from host_sim.twin.flashed import flashed, opening_contacts
from host_sim.twin.front_panel import SimulatedPanel
from host_sim.twin.hands import Hands
from host_sim.twin.scenario import Scenario
from host_sim.twin.stepped import SteppedRun
from host_sim.twin.virtual_board import Fittings, VirtualBoard
from rate_control.controller import Controller
from rate_control.records import Inputs, Request
from rate_control.settings import Settings
from rate_control.units import TICK_US

if TYPE_CHECKING:
    from host_sim.runs.record import RunRecord

PROGRESS_TICKS = 500

InputSink = Callable[[Inputs, Request, int], None]
Progress = Callable[[float], None]
Contender = Callable[[Settings, Machine], Controller]


def the_controller(settings: Settings, machine: Machine) -> Controller:
    """The controller of the firmware, which knows nothing of the machine but its settings."""
    return Controller(settings)


def knows_place(scenario: Scenario) -> bool:
    """Whether a run of it tells where the machine was: it has a receiver, or it turns."""
    return scenario.machine.gnss.hz > 0 or any(event.turn_deg for event in scenario.events)


def sensor_of(machine: Machine, scenario: Scenario) -> PressureSensor | None:
    """The pressure sensor that the board's file is for."""
    if not scenario.pressure:
        return None
    file = read_pressure_file(scenario.pressure)
    return PressureSensor(machine, file.kind, file.range_pa, scenario.seed)


def place_of(machine: Machine) -> tuple[float, float, float]:
    """Where the outlets are, in the order of recorder.PLACE."""
    return machine.way.east_m, machine.way.north_m, machine.way.heading_deg


class Twin(SteppedRun):
    """One drive of one scenario, by the whole firmware.

    `input_sink`, where given, is handed every tick's inputs, request and time before the
    controller sees them, so that the very same ticks can be replayed elsewhere. `contender`
    makes what decides in the controller's place, to compare it with. `card` is what is in the
    socket for the trace, where one is wired.
    """

    def __init__(
        self,
        scenario: Scenario,
        input_sink: InputSink | None = None,
        contender: Contender = the_controller,
        card: CardChip | None = None,
    ) -> None:
        self.scenario = scenario
        self.hands = Hands(
            scenario.events, scenario.settings.section_count, scenario.settings.rate_ml_ha
        )
        self.resets: list[str] = []  # causes, power-up first
        self._input_sink = input_sink
        clock = VirtualClock()
        machine = Machine(scenario.machine, scenario.seed, clock.total_us)
        machine.way = Way(scenario.heading_deg)
        machine.gnss.origin = scenario.place
        set_field(machine.faults, scenario.field)
        machine.field.recorded = scenario.speed_trace.recorded
        self._breaking = Breaking(machine.faults)
        self.panel = SimulatedPanel()
        files = flashed(scenario.settings, scenario.zones, scenario.plan, scenario.pressure)
        super().__init__(
            machine, clock, Fittings(self.panel.display, self.panel.read_keys, files=files,
                                     opening=opening_contacts(scenario.settings),
                                     pressure=sensor_of(machine, scenario), card=card),
            make_controller=lambda settings: self._watched(contender(settings, machine)))

    def _boot(self, board: VirtualBoard) -> None:
        self.resets.append(board.reset_cause())
        super()._boot(board)
        self._rate_ml_ha = self.application.controller.request.rate_ml_ha

    def _watched(self, controller: Controller) -> Controller:
        """Let the sink see every tick first, where there is one."""
        if self._input_sink:
            step = partial(self._seen_step, controller.step, controller.request)
            setattr(controller, "step", step)  # noqa: B010  (a method, to the type checker)
        return controller

    def _seen_step(self, step: Callable[[Inputs, int], Any], request: Request, inputs: Inputs,
                   now_us: int) -> Any:
        assert self._input_sink
        self._input_sink(inputs, request, now_us)
        return step(inputs, now_us)

    def run(self, progress: Progress | None = None) -> RunRecord:
        """Drive to the end of the speed trace; progress is told the share done, 0 to 1."""
        self._place = knows_place(self.scenario)
        recorder = RowRecorder(len(self.machine.section_volume_ml), self._place,
                               self.application.ring.more)
        speeds = self._tick_speeds()
        for tick, self.speed_m_s in enumerate(speeds):
            self._one_tick(recorder)
            if progress and tick % PROGRESS_TICKS == 0:
                progress(tick / len(speeds))
        record = recorder.finish(self._about())
        if self.scenario.zones:
            from host_sim.twin.zoned_ground import uses_zones, wanted_by_zones  # needs NumPy
            if uses_zones(self.scenario):
                record.columns["wanted_ml_ha"] = wanted_by_zones(record, self.scenario)
        return record

    def _tick_speeds(self) -> list[float]:
        """The true ground speed at the end of each tick."""
        trace = self.scenario.speed_trace
        ticks = round(trace.duration_s * US_PER_S) // TICK_US
        return [trace.at(tick * (TICK_US / US_PER_S)) for tick in range(1, ticks + 1)]

    def _one_tick(self, recorder: RowRecorder) -> None:
        machine, hands = self.machine, self.hands
        time_s = self.clock.elapsed_us / US_PER_S
        for event in hands.act(time_s, machine.distance_m):
            self._breaking.begin(event, time_s)
            if event.turn_deg:
                machine.way.turn(event.turn_deg, event.radius_m)
            if event.stalled is not None:
                self.board.stalled = event.stalled
            for key, count in event.keys:
                self.panel.press(key, count)
            if event.power_cut:
                self.board.reset("power")
        self._breaking.go_on(time_s)
        self.board.switches = hands.switches
        if hands.rate_ml_ha != self._rate_ml_ha:  # asked for anew after a reset, as a person would
            problem = self.application.set_rate(hands.rate_ml_ha)
            assert not problem, problem
            self._rate_ml_ha = hands.rate_ml_ha
        self.step()
        recorder.add(
            (
                self.clock.elapsed_us / US_PER_S,
                machine.distance_m,
                machine.speed_m_s,
                machine.flow_m3_s * 1e6,
                machine.pressure_bar,
                hands.switches,
                hands.rate_ml_ha if hands.plot_ml_ha is None else hands.plot_ml_ha,
                *(place_of(machine) if self._place else ()),
                *machine.section_volume_ml,
            ),
            self.application.ring.newest(),
        )

    def _about(self) -> dict[str, Any]:
        """The facts of the run that are no columns."""
        scenario, totals = self.scenario, self.application.controller.totals
        totals.settle()
        about = {
            "title": scenario.title,
            "machine": asdict(scenario.machine),
            "settings": scenario.settings.as_dict(),
            "section_width_m": scenario.section_width_m,
            "speed_trace": {"name": scenario.speed_trace.name, "note": scenario.speed_trace.note},
            "seed": scenario.seed,
            "field": scenario.field,
            "events": [asdict(event) for event in self.hands.happened],
            "missed_events": self.hands.missed,
            "resets": self.resets[1:],
            "notes": list(self.application.notes),
            "versions": versions(),
            "controller_volume_l": totals.volume.whole + totals.volume.part / totals.volume.base,
            "controller_area_ha": (totals.area.whole + totals.area.part / totals.area.base) / M2_HA,
        }
        return about | {"place": asdict(scenario.place)} if self._place else about
