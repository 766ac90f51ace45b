"""A simulated machine standing still, with the firmware's application above it.

Everything is asked for as at the machine: settings, master switch off and on, bench, procedure,
confirmation.
"""

from __future__ import annotations

from array import array
from typing import Any

from app.application import Application
from host_sim.plant.machine import Machine
from host_sim.plant.spec import MachineSpec
from host_sim.trials.commissioning.performed import BenchError, Performed, Tell
from host_sim.twin.clock import VirtualClock
from host_sim.twin.stepped import SteppedRun
from host_sim.twin.virtual_board import Fittings
from rate_control.interlock import BENCH, BENCH_ASKED, BENCH_PERMITS
from rate_control.procedures import DONE
from rate_control.settings import Settings
from rate_control.units import SWITCH_MASTER, SWITCH_SECTION_SHIFT, TICK_MS

ARM_TICKS = 20
STANDSTILL_TICKS = 60_000 // TICK_MS
LONGEST_TICKS = 900_000 // TICK_MS
PROGRESS_TICKS = 200


class Bench:
    """One machine and its controller."""

    def __init__(self, spec: MachineSpec, seed: int) -> None:
        clock = VirtualClock()
        self._run = SteppedRun(Machine(spec, seed, clock.total_us), clock, Fittings())
        self._all_on = ((1 << spec.sections.count) - 1) << SWITCH_SECTION_SHIFT

    @property
    def machine(self) -> Machine:
        """The simulated machine, to break or to look at."""
        return self._run.machine

    @property
    def application(self) -> Application:
        """The firmware's application."""
        return self._run.application

    @property
    def settings(self) -> Settings:
        """The settings as they are now."""
        return self.application.controller.settings

    def change(self, values: dict[str, Any]) -> None:
        """Take settings. Raises BenchError with every problem."""
        _expect(self.application.change_settings(values))

    def perform(self, name: str, parameters: dict[str, int], tell: Tell) -> Performed:
        """Run a procedure to its end and keep what it proposes.

        Raises BenchError with the reason where it is refused or fails.
        """
        application = self.application
        self._switch(0)
        self._switch(SWITCH_MASTER)
        self._stand_still()
        _expect(application.enter_bench(confirmed_at_machine=True))
        self._wait(2)
        if application.controller.interlock.state != BENCH:
            raise BenchError(f"{name}: the bench does not begin: {application.missing()}")
        _expect(application.begin_procedure(name, parameters, confirmed_at_machine=True))
        procedure: Any = application.controller.procedure
        demands, flows = self._watch(procedure, tell)
        self._switch(0)
        if procedure.state != DONE:
            raise BenchError(f"{name}: {procedure.reason or 'takes too long'}")
        performed = Performed(name, procedure.proposal(), procedure.facts(), demands, flows)
        _expect(application.keep_proposal())
        return performed

    def _watch(self, procedure: Any, tell: Tell) -> tuple[array[int], array[int]]:
        """Live on until the procedure has ended; demand and flow of every tick."""
        demands, flows = array("i"), array("i")
        controller = self.application.controller
        for tick in range(LONGEST_TICKS):
            if self.application.running_procedure() is None:
                break
            if tick % PROGRESS_TICKS == 0:
                tell(procedure.progress_permille() / 1000)
            self._wait(1)
            demands.append(controller.decided.demand_u16)
            flows.append(controller.measured.flow_ul_s)
        return demands, flows

    def _stand_still(self) -> None:
        """Wait until the controller has proof of it: the fewer pulses a metre, the longer."""
        for _ in range(STANDSTILL_TICKS):
            if not self.application.missing(BENCH_PERMITS & ~BENCH_ASKED):
                return
            self._wait(1)

    def _switch(self, master: int) -> None:
        self._run.board.switches = self._all_on | master
        self._wait(ARM_TICKS)

    def _wait(self, ticks: int) -> None:
        for _ in range(ticks):
            self._run.step()


def _expect(problems: str | list[str]) -> None:
    if problems:
        raise BenchError(problems if isinstance(problems, str) else "; ".join(problems))
