"""A dynamic oracle: it knows the machine in motion, lags, delays and supply, not only at rest.

It is causal and has the sensors of everybody: switches, ground speed and its slope, supply. What
the liquid does it works out: it runs the true machine's hydraulics beside the machine with the
commands that it gives. In every tick it looks ahead, by model predictive control (J. Richalet et
al., Model predictive heuristic control, Automatica 14 (1978) 413-428): which command of a few
puts the least liquid in the wrong place within the next ticks, if the static oracle's follow? So
a pump is driven harder for a moment to bring the pressure up, and a regulating valve goes with
sections that are still on their way. What it does is never worse, by the model, than what the
static oracle would do.
"""

from __future__ import annotations

import copy

import numpy as np
from scipy.optimize import lsq_linear

from host_sim.plant.actuation import Actuation
from host_sim.plant.machine import Machine
from host_sim.plant.spec import BYPASS_VALVE
from host_sim.trials.acceptance.foresight import Foresight
from host_sim.trials.acceptance.oracle import Oracle, TruePump, TrueValve
from rate_control.pump_curve import PumpCurve
from rate_control.records import Decided, Inputs, Measured, Outputs
from rate_control.settings import Settings
from rate_control.units import DUTY_FULL, TICK_MS
from rate_control.valve_drive import ValveDrive

TICK_S = TICK_MS / 1000
HORIZON = 8  # ticks
FREE = 4  # of them, in which a pump's duty is chosen
NUDGE = 0.05  # of the duty, to see what a tick of more does
SHARES = (1.0, 0.5)  # of the best steps of a straight machine that are tried on the true one
AT_REST = 0.002  # of the wanted volume: nothing to gain
SLOPE_S = 0.15  # how far a slope of the speed is believed
DAMPING = 0.02  # of the steps against the error
BEYOND_TICKS = (0.5, 1.0, 2.0, -0.5, -1.0, -2.0)  # of its motor: how far a valve may go astray
AFTER_TICKS = 8
LEADS_TICKS = (0, 1, 2)  # by which it may follow the speed to come
FAR_TICKS = 6  # from where it belongs it can only run there

Aims = list["int | None"]  # positions to send a valve to, a tick each; None: it waits


class DynamicOracle(Oracle):
    """The static oracle with its actuator driven by looking ahead."""

    def __init__(self, settings: Settings, machine: Machine) -> None:
        self.foresight = Foresight(machine)
        super().__init__(settings, machine)

    def _build(self, settings: Settings) -> None:
        super()._build(settings)
        self._speed.first_lead_ms = settings.look_ahead_ms
        self._speed.second_lead_ms = 0  # its own model leads
        if self._machine.spec.valve is None:
            self.loop = AheadPump(settings, self.curve, self.foresight)
        else:
            self.loop = AheadValve(settings, self.curve, self._machine, self.foresight)

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        """Run one tick, then let the model have it, too."""
        self.foresight.see_supply(inputs.supply_mv)
        outputs = super().step(inputs, now_us)
        self.foresight.advance(pins(outputs.duty_u16, outputs.valve_pulse_ms,
                                    outputs.section_mask))
        return outputs


def pins(duty_u16: int, pulse_ms: int, mask: int) -> Actuation:
    """Outputs as the board drives them."""
    return Actuation(duty_u16 / DUTY_FULL, pulse_ms, mask)


class Wanted:
    """What the open sections should let out in the ticks to come."""

    def __init__(self, settings: Settings) -> None:
        self._pulses_m = settings.speed_pulses_km / 1e3
        self._average = settings.speed_average_pulses
        self._look_ahead_s = settings.look_ahead_ms / 1e3
        self.volumes_ml = np.zeros(HORIZON)

    def look(self, measured: Measured, decided: Decided) -> None:
        """Take a tick: the speed goes on as it goes, from where the sensor saw it last."""
        speed, ahead = measured.speed_mm_s, measured.speed_ahead_mm_s
        late_s = 0.5 * self._average / self._pulses_m / max(speed / 1e3, 0.1)
        slope = (ahead - speed) / self._look_ahead_s if self._look_ahead_s else 0.0
        leads_s = np.minimum(min(late_s, TICK_S) + TICK_S * (np.arange(HORIZON) + 0.5), SLOPE_S)
        speeds = np.maximum(speed + slope * leads_s, 0.0) / max(ahead, 1)
        self.volumes_ml = decided.target_ul_s / 1e3 * TICK_S * speeds


class AheadPump(TruePump):
    """A pump whose duty is the best first step of the next few."""

    def __init__(self, settings: Settings, curve: PumpCurve, foresight: Foresight) -> None:
        super().__init__(settings, curve)
        self._foresight = foresight
        self._wanted = Wanted(settings)

    def update(self, measured: Measured, decided: Decided) -> None:
        super().update(measured, decided)
        self._wanted.look(measured, decided)

    def drive(self, decided: Decided, outputs: Outputs) -> None:
        """Fill the outputs with the duty of this tick."""
        if decided.target_ul_s:
            decided.demand_u16 = round(DUTY_FULL * self._duty(decided))
        super().drive(decided, outputs)

    def _duty(self, decided: Decided) -> float:
        static, mask, wanted = decided.demand_u16 / DUTY_FULL, decided.section_mask, \
            self._wanted.volumes_ml
        plain = self._volumes_ml([static], static, mask)
        if np.abs(plain - wanted).max() < AT_REST * wanted.mean():
            return static
        nudge = NUDGE if wanted.sum() > plain.sum() and static + NUDGE <= 1.0 else -NUDGE
        answer = (self._volumes_ml([static + nudge], static, mask) - plain) / nudge
        steps = best_steps(answer, wanted - plain, -static, 1.0 - static)
        tries = [list(np.clip(static + share * steps, 0.0, 1.0)) for share in SHARES]
        costs = [np.abs(self._volumes_ml(duties, static, mask) - wanted).sum() for duties in tries]
        best = int(np.argmin(costs))
        return tries[best][0] if costs[best] < np.abs(plain - wanted).sum() else static

    def _volumes_ml(self, duties: list[float], static: float, mask: int) -> np.ndarray:
        """What comes out in each tick with these duties, and the static one after them."""
        ahead = self._foresight.branch()
        volumes = []
        for tick in range(HORIZON):
            duty = duties[tick] if tick < len(duties) else static
            volumes.append(open_ml(ahead.advance(Actuation(duty, 0, mask)), mask))
        return np.array(volumes)


def best_steps(answer: np.ndarray, missing: np.ndarray, least: float, most: float) -> np.ndarray:
    """The first FREE steps of the duty that make good what is missing, in least squares.

    answer is what a step of 1 in the first tick adds to each tick; one that comes later does
    the same later.
    """
    effects = np.zeros((HORIZON, FREE))
    for step in range(FREE):
        effects[step:, step] = answer[: HORIZON - step]
    scale = np.abs(answer).max() or 1.0
    damping = DAMPING * scale * np.eye(FREE)
    found = lsq_linear(np.vstack([effects, damping]), np.append(missing, np.zeros(FREE)),
                       bounds=(least - 1e-9, most + 1e-9))
    steps: np.ndarray = found.x
    return steps


def open_ml(volumes_ml: list[float], mask: int) -> float:
    """What the sections that are on have let out."""
    return sum(volume for index, volume in enumerate(volumes_ml) if mask >> index & 1)


class AheadValve(TrueValve):
    """A regulating valve that may go beyond where it belongs, stay short of it, follow or wait."""

    def __init__(self, settings: Settings, curve: PumpCurve, machine: Machine,
                 foresight: Foresight) -> None:
        super().__init__(settings, curve, machine)
        self._foresight = foresight
        self._wanted = Wanted(settings)
        self._tick_u16 = DUTY_FULL * TICK_S / machine.spec.valve_table.travel_s
        self._bypass = machine.spec.actuator == BYPASS_VALVE

    def update(self, measured: Measured, decided: Decided) -> None:
        super().update(measured, decided)
        self._wanted.look(measured, decided)

    def drive(self, decided: Decided, outputs: Outputs) -> None:
        """Fill the outputs with the pulse of this tick."""
        self._place(self.valve, self._foresight)
        outputs.duty_u16 = 0
        aims: Aims = [decided.demand_u16] * HORIZON
        far = abs(decided.demand_u16 - self.valve.position_u16) > FAR_TICKS * self._tick_u16
        if decided.target_ul_s and not far:
            aims = self._best(aims, decided)
        outputs.valve_pulse_ms = toward(self.valve, aims[0])

    def _best(self, static: Aims, decided: Decided) -> Aims:
        """The aims of the next ticks that put the least in the wrong place."""
        wanted, mask = self._wanted.volumes_ml, decided.section_mask
        plain = self._volumes_ml(static, mask)
        best, least = static, wrong_ml(plain, wanted)
        if np.abs(plain - wanted).max() < AT_REST * wanted.mean():
            return static
        for aims in self._candidates(static, decided):
            cost = wrong_ml(self._volumes_ml(aims, mask), wanted)
            if cost < least * (1.0 - AT_REST):
                best, least = aims, cost
        return best

    def _candidates(self, static: Aims, decided: Decided) -> list[Aims]:
        """Wait a tick; aim beyond, for a tick or for all; aim where the speed will want it."""
        demand = decided.demand_u16
        steps = [round(ticks * self._tick_u16) for ticks in BEYOND_TICKS]
        found: list[Aims] = [[None, *static[1:]]]
        found += [[demand + step, *static[1:]] for step in steps]
        found += [[demand + step] * HORIZON for step in steps]
        wanted = self._wanted.volumes_ml
        if wanted[-1] != wanted[0]:
            flows = [round(1e3 / TICK_S * volume) for volume in wanted]
            follow = [self._curve.demand_u16(flow, decided.width_mm, 0) for flow in flows]
            found += [[*follow[lead:], *follow[-1:] * lead] for lead in LEADS_TICKS]
        return found

    def _volumes_ml(self, aims: Aims, mask: int) -> np.ndarray:
        """What comes out in each tick if the valve is sent there."""
        ahead, valve = self._foresight.branch(), copy.copy(self.valve)
        volumes = []
        for aim in aims:
            self._place(valve, ahead)
            volumes.append(open_ml(ahead.advance(pins(0, toward(valve, aim), mask)), mask))
        return np.array(volumes)

    def _place(self, valve: ValveDrive, foresight: Foresight) -> None:
        """Tell the drive where the valve is whenever it rests."""
        if valve.resting:
            ball = foresight.valve_position
            valve.position_u16 = round(DUTY_FULL * (1.0 - ball if self._bypass else ball))


def wrong_ml(volumes_ml: np.ndarray, wanted_ml: np.ndarray) -> float:
    """What goes to the wrong place; what is still wrong at the end goes on for a while."""
    wrong = np.abs(volumes_ml - wanted_ml)
    return float(wrong.sum() + AFTER_TICKS * wrong[-1])


def toward(valve: ValveDrive, aim_u16: int | None) -> int:
    """The pulse of a tick towards a position; None: none."""
    if aim_u16 is None:
        valve.resting = 1
        return 0
    return valve.toward(min(max(aim_u16, 0), DUTY_FULL))
