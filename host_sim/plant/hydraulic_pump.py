"""A PWM proportional flow valve, a hydraulic motor and the pump it turns."""

from __future__ import annotations

import math

from host_sim.plant.actuation import Actuation
from host_sim.plant.pump_spec import HydraulicPumpSpec
from host_sim.plant.ripple import MOST_SHARE, Ripple, ideal_share


class HydraulicPump:
    """Coil current, play, dead band, lag and notches in a row, then a stiff shaft.

    The command is the mean coil current as a share of that at full duty and nominal supply
    (the coil's own 5-30 ms are part of the lag). A pressure-compensated valve gives an oil flow
    that the load hardly changes, so the shaft's speed follows it: w = eta Q_oil / D_motor.
    """

    __slots__ = ("_command", "_flow_m3_s", "_held", "_ripple", "_slope", "_spec", "_travel",
                 "main_resistance", "speed_rad_s")

    curved = False

    def __init__(self, spec: HydraulicPumpSpec) -> None:
        self._spec = spec
        self.ripple(ideal=False)
        self._command = 0.0
        self._held = 0.0  # command after the play
        self._travel = 0.0  # of the spool, 0..1
        self._flow_m3_s = 0.0
        self._slope = 0.0
        self.speed_rad_s = 0.0
        self.main_resistance = 0.0

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

    def ripple(self, ideal: bool) -> None:
        """Let the flow swing from now on: as in the spec, or at least as ideal chambers make it."""
        spec = self._spec
        least = min(ideal_share(spec.chambers), MOST_SHARE) if ideal else 0.0
        self._ripple = Ripple(max(spec.ripple_share, least), spec.chambers)

    def line(self, pressure_pa: float) -> tuple[float, float]:
        """Delivery `a - b P`."""
        return self._flow_m3_s, self._slope

    def main_flow_m3_s(self, pressure_pa: float) -> float:
        """Through the main hose."""
        return self._flow_m3_s - self._slope * pressure_pa

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
