"""A battery, a brushed DC motor and the diaphragm pump it turns."""

from __future__ import annotations

from host_sim.plant.actuation import Actuation
from host_sim.plant.displacement_pump import DisplacementPump
from host_sim.plant.pump_spec import ElectricPumpSpec


class ElectricPump(DisplacementPump):
    """J dw/dt = Ke i - Tf - D P with i = (u V - Ke w) / R; the pump gives D w - kl P.

    Reduction: the winding's inductance is left out. Its time constant L/R is 0.5-2 ms against
    the rotor's 10-50 ms and the manifold's 100 ms and more; duty acts as a mean voltage, which
    holds for a PWM of some kilohertz. The driver is a single switch with a free-wheeling diode:
    current never flows back, so that a falling duty lets the rotor run out against the load.
    Valves hold the pressure of a standing pump. The battery's resistance Rb carries u i, which
    adds u^2 Rb to the winding's resistance.
    """

    __slots__ = ("_battery_v", "_cut_out", "_damping", "_duty", "_torque_nm", "_total_ohm")
    _spec: ElectricPumpSpec

    def __init__(self, spec: ElectricPumpSpec) -> None:
        super().__init__(spec)
        self._cut_out = False
        self.drive(Actuation(), 0.0, 0.0)

    def drive(self, actuation: Actuation, supply_v: float, supply_ohm: float) -> None:
        """The pin's duty and the battery behind it, from now on."""
        pump = self._spec
        duty = 0.0 if self._cut_out else actuation.duty
        self._duty = duty
        self._total_ohm = pump.resistance_ohm + supply_ohm * duty * duty
        self._battery_v = supply_v
        self._torque_nm = pump.emf_v_s * duty * supply_v / self._total_ohm
        self._damping = pump.emf_v_s * pump.emf_v_s / self._total_ohm

    def step(self, pressure_pa: float, span_s: float) -> None:
        """Turn for `span_s` against the manifold's pressure: backward Euler in speed.

        The main hose adds its loss at the flow of the step before.
        """
        pump = self._spec
        speed = self.speed_rad_s
        loss = 0.0
        if self.main_resistance > 0.0:
            entering = self.main_flow_m3_s(pressure_pa)
            loss = self.main_resistance * entering * entering
            pressure_pa += loss
        torque = self._torque_nm
        if pump.cut_out_pa > 0.0:
            torque = self._switched(pressure_pa, torque)
        hydraulic = pump.displacement_m3_rad * pressure_pa
        if speed == 0.0 and torque <= pump.breakaway_nm + hydraulic:
            self._flow_m3_s = self._slope = 0.0
            return
        per_j = span_s / pump.inertia_kg_m2
        load = pump.friction_nm + hydraulic
        after = (speed + per_j * (torque - load)) / (1.0 + per_j * self._damping)
        if after * self._damping > torque:  # the diode blocks: no braking current
            after = speed - per_j * load
        self.speed_rad_s = after = after if after > 0.0 else 0.0
        flow = pump.displacement_m3_rad * after
        if self._ripple.swings:
            flow *= self._ripple.mean(after * span_s)
        runs = flow > pump.leak_m3_s_pa * pressure_pa
        self._flow_m3_s = flow - pump.leak_m3_s_pa * loss if runs else 0.0
        self._slope = pump.leak_m3_s_pa if runs else 0.0

    def _switched(self, pressure_pa: float, torque: float) -> float:
        """Torque after the built-in pressure switch, a relay with hysteresis."""
        if pressure_pa >= self._spec.cut_out_pa:
            self._cut_out = True
        elif pressure_pa <= self._spec.cut_in_pa:
            self._cut_out = False
        return 0.0 if self._cut_out else torque

    @property
    def current_a(self) -> float:
        """Through the motor; the battery carries `duty` times as much on average."""
        if self._cut_out:
            return 0.0
        net_v = self._duty * self._battery_v - self._spec.emf_v_s * self.speed_rad_s
        return max(net_v, 0.0) / self._total_ohm

    @property
    def battery_a(self) -> float:
        return self._duty * self.current_a
