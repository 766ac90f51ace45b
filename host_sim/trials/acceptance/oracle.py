"""An oracle: it knows the machine, but sees and acts as late as the controller does.

It inverts the true plant at rest, section by section, hose by hose, and knows where a
regulating valve really stands. Ground speed it has from the same sensor with the same look-ahead
in the same ticks, and the machine is as slow for it as for everybody. It needs no flow meter.
"""

from __future__ import annotations

from host_sim.plant.machine import Machine
from host_sim.plant.spec import BYPASS_VALVE
from host_sim.plant.static_pump import Conditions
from host_sim.plant.steady import inverse_actuation
from rate_control.controller import Controller
from rate_control.flow_loop import FlowLoop
from rate_control.pump_curve import PumpCurve, Turning
from rate_control.pump_loop import PumpLoop
from rate_control.records import Decided, Measured, Outputs
from rate_control.settings import Settings, build
from rate_control.units import DUTY_FULL
from rate_control.valve_loop import ValveLoop

M3_UL = 1e-9


class Oracle(Controller):
    """The controller with its curve and loop replaced by the truth."""

    def __init__(self, settings: Settings, machine: Machine) -> None:
        self._machine = machine
        super().__init__(settings)

    def _build(self, settings: Settings) -> None:
        super()._build(settings)
        self.curve = TrueInverse(settings, self._machine, self.decided)
        if self._machine.spec.valve is None:
            self.loop = TruePump(settings, self.curve)
        else:
            self.loop = TrueValve(settings, self.curve, self._machine)


class NoLoop(FlowLoop):
    """Commands the target."""

    def update(self, measured: Measured, decided: Decided) -> None:
        decided.command_ul_s = decided.expected_ul_s = decided.target_ul_s
        decided.coasting = 0


class TrueInverse(PumpCurve):
    """The plant's own inverse in the place of the pump curve."""

    def __init__(self, settings: Settings, machine: Machine, decided: Decided) -> None:
        super().__init__(settings)
        self._spec = machine.spec
        self._decided = decided  # for the mask of the sections
        self._turning = Turning()
        self._known: dict[tuple[int, int, int], int] = {}

    def demand_u16(self, flow_ul_s: int, width_mm: int, supply_mv: int) -> int:
        """The demand for a flow out of the sections that are on."""
        if flow_ul_s <= 0:
            self._turning.rest()
            return 0
        branch = -1 if self._turning.follow(flow_ul_s) else 1
        key = (flow_ul_s, self._decided.section_mask, branch)
        if key not in self._known:
            self._known[key] = self._inverse(*key)
        return self._known[key]

    def _inverse(self, flow_ul_s: int, mask: int, branch: int) -> int:
        setting = inverse_actuation(
            self._spec, flow_ul_s * M3_UL, mask, Conditions(branch=branch))
        if self._spec.actuator == BYPASS_VALVE:
            setting = 1.0 - setting
        return round(DUTY_FULL * setting)


class TruePump(NoLoop, PumpLoop):
    """A pump whose true inverse is the curve."""


class TrueValve(NoLoop, ValveLoop):
    """The firmware's valve with the true times, told the true position whenever it rests."""

    def __init__(self, settings: Settings, curve: PumpCurve, machine: Machine) -> None:
        valve = machine.spec.valve_table
        travel_ms = 1e3 * valve.travel_s
        true, problems = build({
            "valve_travel_ms": round(travel_ms),
            "valve_min_pulse_ms": round(1e3 * valve.start_s) + 1,
            "valve_lost_ms": max(round(1e3 * (valve.start_s - valve.overrun_s)), 0),
            "valve_play_ms": round(travel_ms * valve.play_share),
        }, settings)
        assert true is not None, problems
        super().__init__(true, curve)
        self._machine = machine

    def drive(self, decided: Decided, outputs: Outputs) -> None:
        """Fill the outputs with the pulse of this tick."""
        if self.valve.resting:
            ball = self._machine.valve_position or 0.0
            bypass = self._machine.spec.actuator == BYPASS_VALVE
            self.valve.position_u16 = round(DUTY_FULL * (1.0 - ball if bypass else ball))
        super().drive(decided, outputs)
