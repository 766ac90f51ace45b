"""A PWM proportional flow valve, a hydraulic motor and the pump it turns."""

from __future__ import annotations

import math

from host_sim.plant.actuation import Actuation
from host_sim.plant.displacement_pump import DisplacementPump
from host_sim.plant.pump_spec import HydraulicPumpSpec


class HydraulicPump(DisplacementPump):
    """Coil current, play, dead band, lag and notches in a row, then a stiff shaft.

    The command is the mean coil current as a share of that at full duty and nominal supply
    (the coil's own 5-30 ms are part of the lag). A pressure-compensated valve gives an oil flow
    that the load hardly changes, so the shaft's speed follows it: w = eta Q_oil / D_motor.
    """

    __slots__ = ("_command", "_held", "_travel")
    _spec: HydraulicPumpSpec

    def __init__(self, spec: HydraulicPumpSpec) -> None:
        super().__init__(spec)
        self._command = 0.0
        self._held = 0.0  # command after the play
        self._travel = 0.0  # of the spool, 0..1

    def drive(self, actuation: Actuation, supply_v: float, supply_ohm: float) -> None:
        """The pin's duty and the battery behind it, from now on."""
        spec = self._spec
        coil_v = supply_v * spec.coil_ohm / (spec.coil_ohm + supply_ohm * actuation.duty)
        self._command = actuation.duty * coil_v / spec.nominal_v
        half = 0.5 * spec.play_share
        self._held = min(max(self._held, self._command - half), self._command + half)

    def step(self, pressure_pa: float, span_s: float) -> None:
        """Move the spool for `span_s`, exact for a steady command; the shaft follows at once."""
        spec = self._spec
        aim = spool_travel(spec, self._held)
        travel = aim + (self._travel - aim) * math.exp(-span_s / spec.lag_s)
        self._travel = travel
        self.speed_rad_s = spec.top_speed_rad_s * travel**spec.exponent
        flow = spec.displacement_m3_rad * self.speed_rad_s
        if self._ripple.swings:
            flow *= self._ripple.mean(self.speed_rad_s * span_s)
        entering = self.main_flow_m3_s(pressure_pa)
        loss = self.main_resistance * entering * entering
        runs = flow > spec.leak_m3_s_pa * (pressure_pa + loss)
        self._flow_m3_s = flow - spec.leak_m3_s_pa * loss if runs else 0.0
        self._slope = spec.leak_m3_s_pa if runs else 0.0

    @property
    def current_a(self) -> float:
        """Through the coil."""
        return self._command * self._spec.nominal_v / self._spec.coil_ohm

    @property
    def battery_a(self) -> float:
        return self.current_a


def spool_travel(spec: HydraulicPumpSpec, held: float) -> float:
    """Where the spool comes to rest under a command, 0..1: nothing inside the dead band."""
    share = (held - spec.dead_share) / (spec.full_share - spec.dead_share)
    return min(max(share, 0.0), 1.0)
