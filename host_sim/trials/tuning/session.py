"""A machine tuned from measurements, and what other gains would do on it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from host_sim.board.link_client import LinkClient
from host_sim.plant.machine import Machine as Plant
from host_sim.plant.spec import MachineSpec
from host_sim.trials.commissioning.bench import Bench
from host_sim.trials.commissioning.commission import Commissioned, Keep, Wish, learn
from host_sim.trials.commissioning.link_bench import LinkBench, Say
from host_sim.trials.commissioning.owner import owner_settings
from host_sim.trials.commissioning.performed import Tell
from host_sim.trials.tuning.loop import (
    TICK_S,
    Gains,
    Margins,
    gains_of,
    machine_of,
    margins_of,
    recovery,
)
from host_sim.trials.tuning.response import Line, Response, response_of
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control.controller import Controller
from rate_control.pump_curve import PumpCurve
from rate_control.pump_loop import PumpLoop
from rate_control.settings import Settings, build
from rate_control.units import (
    AREA_PER_RATE,
    DUTY_FULL,
    FLOW_MAX_UL_S,
    PWM_PUMP,
    RATE_MAX_ML_HA,
    SWITCH_IMPLEMENT,
    SWITCH_MASTER,
)
from rate_control.valve_loop import ValveLoop

WRONG = 0.15  # by how much the curve is made wrong, to see the loop take it away
TOO_BRISK_SHARE = 0.85  # of the gain margin: it surges, but comes to rest on paper
TOO_SLOW = 1 / 8
LEARNING_S = 12.0
SETTLED_S = 3.0  # before it, the machine starts with the loop blind
SPEED_M_S = 2.0


class ScaledLoop:
    """One of the firmware's loops with other gains than its rule gives."""

    _kp_q12: int
    _ki_q20: int

    def __init__(self, settings: Settings, curve: PumpCurve, factor: float) -> None:
        super().__init__(settings, curve)  # type: ignore[call-arg]
        self._factor = factor
        self._kp_q12 = round(self._kp_q12 * factor)

    def take_width(self, width_mm: int) -> None:
        super().take_width(width_mm)  # type: ignore[misc]
        self._ki_q20 = round(self._ki_q20 * self._factor)


class ScaledPumpLoop(ScaledLoop, PumpLoop):
    """The same for a pump."""


class ScaledValveLoop(ScaledLoop, ValveLoop):
    """The same for a regulating valve."""


@dataclass(frozen=True)
class Tuned:
    """Everything that `tune` shows. `model` and `plant` are flow over wanted flow, by name."""

    name: str
    spec: MachineSpec | None
    found: Commissioned
    wish: Wish
    response: Response
    gains: Gains
    margins: Margins
    time_s: Line
    model: dict[str, Line]
    plant: dict[str, Line]

    @property
    def settings(self) -> Settings:
        """With everything that was learned."""
        return self.found.settings

    @property
    def late_s(self) -> float:
        """How long a valve's motor runs before the valve moves; it is no part of the delay."""
        settings = self.settings
        return (settings.valve_lost_ms + settings.valve_play_ms) / 1e3 if self.gains.valve else 0.0

    @property
    def motor_s(self) -> float:
        """How long a valve's motor takes from one demand of the step test to the other."""
        if not self.gains.valve:
            return 0.0
        demand = np.asarray(self.found.step.demand_u16)
        settled = demand[demand > 0]
        apart = float(settled.max() - settled.min()) / DUTY_FULL
        return apart * self.settings.valve_travel_ms / 1e3


def tune_machine(name: str, spec: MachineSpec, entered: dict[str, object] | None, seed: int,
                 wish: Wish, tell: Tell, keep: Keep = lambda performed: None) -> Tuned:
    """Set a simulated machine up (as `entered`, or as its owner would) and tune it.

    Raises BenchError with the reason where a procedure is refused or fails.
    """
    bench = Bench(spec, seed)
    bench.change(dict(entered) if entered else owner_settings(spec))
    if wish.rate_ml_ha is not None:
        bench.change({"rate_ml_ha": wish.rate_ml_ha})
    found = learn(bench, wish, tell, keep)
    return explain(name, spec, found, wish, seed)


def tune_board(name: str, client: LinkClient, wish: Wish, say: Say, tell: Tell,
               keep: Keep = lambda performed: None) -> Tuned:
    """Tune a real machine by its own controller. `say` is given what a person should do there.

    Raises BenchError as above, and LinkError where the board cannot be asked.
    """
    found = learn(LinkBench(client, say), wish, tell, keep)
    return explain(name, None, found, wish, seed=0)


def explain(name: str, spec: MachineSpec | None, found: Commissioned, wish: Wish,
            seed: int) -> Tuned:
    """Add to what was found the margins, and what brisker and slower gains would do."""
    machine, gains = machine_of(found.settings), gains_of(found.settings)
    margins = margins_of(found.settings)
    factors = {"too brisk": TOO_BRISK_SHARE * margins.gain, "as tuned": 1.0, "too slow": TOO_SLOW}
    ticks = round(LEARNING_S / TICK_S)
    model = {words: recovery(machine, gains.times(factor), -WRONG, ticks)
             for words, factor in factors.items()}
    plant = {words: _on_plant(spec, found.settings, factor, seed)
             for words, factor in factors.items()} if spec else {}
    time_s = np.arange(ticks, dtype=np.float64) * TICK_S
    return Tuned(name, spec, found, wish, response_of(found.step), gains, margins, time_s, model,
                 plant)


def _on_plant(spec: MachineSpec, settings: Settings, factor: float, seed: int) -> Line:
    """The same on the simulated machine: its curve promises more flow than it gives."""
    most_ul_s = settings.curve_flow_ul_s[-1]
    factor_promised = min(1.0 / (1.0 - WRONG), FLOW_MAX_UL_S / most_ul_s)
    promised = [round(flow * factor_promised) for flow in settings.curve_flow_ul_s]
    per_rate = 1e3 * SPEED_M_S * settings.total_width_mm() / AREA_PER_RATE
    rate = min(round(0.4 * most_ul_s / per_rate), RATE_MAX_ML_HA)
    wanted_ul_s = rate * per_rate
    # nothing is applied here, so the highest rate of the owner, which may be lower, says nothing
    wrong, problems = build({"curve_flow_ul_s": promised, "rate_ml_ha": rate,
                             "highest_rate_ml_ha": RATE_MAX_ML_HA}, settings)
    assert wrong is not None, problems

    def brisker(given: Settings, _: Plant) -> Controller:
        controller = Controller(given)
        make = ScaledPumpLoop if given.actuator == PWM_PUMP else ScaledValveLoop
        controller.loop = make(given, controller.curve, factor)
        return controller

    end_s = 2.0 + SETTLED_S + LEARNING_S
    scenario = Scenario(
        "brisk and slow", replace(spec), wrong,
        SpeedTrace("steady", (0.0, end_s), (SPEED_M_S, SPEED_M_S)), seed,
        [Event("go", at_s=2.0, on=SWITCH_MASTER | SWITCH_IMPLEMENT)])
    record = Twin(scenario, contender=brisker).run()
    from_start = record["time_s"] > 2.0
    flow = record["true_flow_ml_s"][from_start] * 1e3 / wanted_ul_s
    return np.asarray(flow[: round(LEARNING_S / TICK_S)])
