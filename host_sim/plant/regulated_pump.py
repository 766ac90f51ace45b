"""A pump on a shaft of its own, regulated by a motorised valve in line or in bypass."""

from __future__ import annotations

from host_sim.plant import shaft_pump
from host_sim.plant.actuation import Actuation
from host_sim.plant.pump_spec import CentrifugalPumpSpec, PdPumpSpec
from host_sim.plant.regulating_valve import RegulatingValve, opening
from host_sim.plant.sections import conductance
from host_sim.plant.shaft_pump import Line
from host_sim.plant.spec import INLINE_VALVE, MachineSpec
from host_sim.plant.units import BAR_PA


class RegulatedPump:
    """The shaft is driven and the pump answers at once: only the valve takes time.

    A bypass valve branches off at the manifold, behind the main hose.
    """

    __slots__ = ("_full_k", "_spec", "main_resistance", "shaft_share", "valve", "valve_k")

    curved = True
    speed_rad_s = 0.0
    current_a = 0.0
    battery_a = 0.0

    def __init__(self, spec: MachineSpec) -> None:
        self._spec = spec
        self.valve = RegulatingValve(spec.valve_table)
        self._full_k = valve_conductance(spec, 1.0)
        self.valve_k = valve_conductance(spec, self.valve.ball)
        self.main_resistance = 0.0
        self.shaft_share = 1.0

    def drive(self, actuation: Actuation, supply_v: float, supply_ohm: float) -> None:
        """The valve motor's pins from now on."""
        self.valve.drive(actuation.valve_pulse_ms)

    def ripple(self, ideal: bool) -> None:
        """The ripple of a pump on a shaft is not simulated: it turns too fast for the manifold."""

    def step(self, pressure_pa: float, span_s: float) -> None:
        """Let the valve move for `span_s`."""
        if self.valve.moving:
            self.valve.step(span_s)
            self.valve_k = self._full_k * opening(self._spec.valve_table, self.valve.ball)

    def seize(self, position: float) -> None:
        """The valve stands there and does not follow its motor."""
        self.valve.seize(position)
        self.valve_k = self._full_k * opening(self._spec.valve_table, position)

    def line(self, pressure_pa: float) -> Line:
        """Tangent of the delivery at a manifold pressure."""
        line = supply_line(
            self._spec, self.valve_k, self.main_resistance, self.shaft_share, pressure_pa
        )
        if self._spec.actuator == INLINE_VALVE:
            return line
        return shaft_pump.bypassed(line, self.valve_k, pressure_pa)

    def main_flow_m3_s(self, pressure_pa: float) -> float:
        """Through the main hose."""
        return shaft_pump.flow_at(
            supply_line(
                self._spec, self.valve_k, self.main_resistance, self.shaft_share, pressure_pa
            ),
            pressure_pa,
        )


def valve_conductance(spec: MachineSpec, ball: float) -> float:
    """k of the regulating valve in a position."""
    valve = spec.valve_table
    return conductance(valve.flow_m3_s, BAR_PA, spec.liquid) * opening(valve, ball)


def supply_line(
    spec: MachineSpec, valve_k: float, main_resistance: float, shaft: float, pressure_pa: float
) -> Line:
    """What comes out of the main hose, as a tangent at the manifold's pressure.

    That is pump, valve if in line, and hose; a valve in bypass takes its part afterwards.
    """
    pump, manifold, square = spec.pump, spec.manifold, main_resistance
    if spec.actuator == INLINE_VALVE:
        if valve_k <= 0.0:
            return 0.0, 0.0
        square += 1.0 / (valve_k * valve_k)
    if isinstance(pump, CentrifugalPumpSpec):
        return shaft_pump.centrifugal(pump, shaft, square, pressure_pa)
    assert isinstance(pump, PdPumpSpec)
    if spec.actuator != INLINE_VALVE:  # the manifold has the relief valve
        return shaft_pump.displacement(pump, shaft, square, pressure_pa)
    return shaft_pump.relieved(
        pump, shaft, manifold.relief_pa, manifold.relief_slope_m3_s_pa, square, pressure_pa
    )
