"""Learn a scenario's machine on the bench, with the firmware's own procedures.

    python -m host_sim.identify [SCENARIO]

Runs the pump curve procedure, then, with the curve it proposes, the step test at half the
highest flow; both see only what the sensors of the simulated machine give. Prints the proposed
settings as lines for the [controller] table.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from host_sim.clock import VirtualClock
from host_sim.errors import InputError
from host_sim.plant.machine import Machine
from host_sim.scenario import DEMO, Scenario, load_scenario
from host_sim.virtual_board import VirtualBoard
from rate_control.controller import Controller
from rate_control.interlock import BENCH
from rate_control.procedures import DONE, RUNNING, catalogue
from rate_control.records import Inputs
from rate_control.settings import Settings, build
from rate_control.units import AREA_PER_RATE, SWITCH_MASTER, SWITCH_SECTION_SHIFT, TICK_US

ARM_TICKS = 20
LONGEST_TICKS = 60_000


class Bench:
    """The scenario's machine standing still, its controller with these settings on the bench."""

    def __init__(self, scenario: Scenario, settings: Settings) -> None:
        self.controller = Controller(settings)
        self._inputs = Inputs()
        self._clock = VirtualClock()
        machine = Machine(scenario.machine, scenario.seed, self._clock.total_us)
        self._board = VirtualBoard(self._clock, machine, self._boot)
        sections = ((1 << settings.section_count) - 1) << SWITCH_SECTION_SHIFT
        for switches in (sections, sections | SWITCH_MASTER):
            self._board.switches = switches
            self._wait(ARM_TICKS)
        self.controller.request.bench = 1
        self._wait(1)
        assert self.controller.interlock.state == BENCH

    def _boot(self, board: VirtualBoard) -> None:
        board.start_tick(self._tick, TICK_US)

    def _tick(self, _: int) -> None:
        self._board.read(self._inputs)
        self._board.write(self.controller.step(self._inputs, self._board.now_us()))
        self._board.feed_watchdog()

    def _wait(self, ticks: int) -> None:
        for _ in range(ticks):
            self._board.advance(TICK_US, 0.0)

    def run(self, name: str, parameters: dict[str, int]) -> dict[str, Any]:
        """What a procedure proposes. Raises InputError where it does not come to an end."""
        procedure, problem = catalogue.make(name, parameters, self.controller.settings)
        if problem:
            raise InputError(f"{name}: {problem}")
        self.controller.begin(procedure)
        for _ in range(LONGEST_TICKS):
            if procedure.state != RUNNING:
                break
            self._wait(1)
        if procedure.state != DONE:
            raise InputError(f"{name}: {procedure.reason or 'takes too long'}")
        proposal: dict[str, Any] = procedure.proposal()
        return proposal


def identify(scenario: Scenario) -> dict[str, Any]:
    """The settings, by name, that both procedures propose."""
    found = Bench(scenario, scenario.settings).run("pump_curve", {})
    settings, problems = build(found, scenario.settings)
    if problems:
        raise InputError("\n".join(problems))
    width_mm = sum(settings.section_width_mm[: settings.section_count])
    half_ul_s = settings.curve_flow_ul_s[-1] // 2
    speed_mm_s = half_ul_s * AREA_PER_RATE // (settings.rate_ml_ha * width_mm)
    return found | Bench(scenario, settings).run("step_test", {"speed_mm_s": speed_mm_s})


def main(arguments: list[str]) -> int:
    """Print the settings as TOML."""
    try:
        found = identify(load_scenario(Path(arguments[0]) if arguments else DEMO))
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    for name, value in found.items():
        print(f"{name} = {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
