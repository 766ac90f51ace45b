"""A battery, a brushed DC motor and the diaphragm pump it turns."""

from __future__ import annotations

from host_sim.plant import spec


class ElectricPump:
    """J dw/dt = Ke i - Tf - D P with i = (u V - Ke w) / R; the pump gives D w - kl P.

    Reduction: the winding's inductance is left out. Its time constant L/R is 0.5-2 ms against
    the rotor's 10-50 ms and the manifold's 100 ms and more; duty acts as a mean voltage, which
    holds for a PWM of some kilohertz. The driver is a single switch with a free-wheeling diode:
    current never flows back, so that a falling duty lets the rotor run out against the load.
    Valves hold the pressure of a standing pump. The battery's resistance Rb carries u i, which
    adds u^2 Rb to the winding's resistance.
    """

    __slots__ = ("_battery_v", "_damping", "_duty", "_spec", "_supply", "_total_ohm", "_torque_nm",
                 "slope", "speed_rad_s")

    def __init__(self, spec: spec.ElectricPump) -> None:
        self._spec = spec
        self.speed_rad_s = 0.0
        self.slope = 0.0  # m3/s less per Pa
        self.drive(0.0, 0.0, 0.0)

    def drive(self, duty: float, supply_v: float, supply_ohm: float) -> None:
        """The pin's duty 0..1 and the battery behind it, from now on."""
        pump = self._spec
        self._duty = duty
        self._total_ohm = pump.resistance_ohm + supply_ohm * duty * duty
        self._battery_v = supply_v
        self._torque_nm = pump.emf_v_s * duty * supply_v / self._total_ohm
        self._damping = pump.emf_v_s * pump.emf_v_s / self._total_ohm

    def step(self, pressure_pa: float, span_s: float) -> float:
        """Turn for `span_s` against a pressure; the flow it would give at zero pressure, m3/s.

        Backward Euler in speed. `slope` is set to what each pascal takes off that flow.
        """
        pump = self._spec
        speed = self.speed_rad_s
        hydraulic = pump.displacement_m3_rad * pressure_pa
        if speed == 0.0 and self._torque_nm <= pump.breakaway_nm + hydraulic:
            self.slope = 0.0
            return 0.0
        per_j = span_s / pump.inertia_kg_m2
        load = pump.friction_nm + hydraulic
        after = (speed + per_j * (self._torque_nm - load)) / (1.0 + per_j * self._damping)
        if after * self._damping > self._torque_nm:  # the diode blocks: no braking current
            after = speed - per_j * load
        if after < 0.0:
            after = 0.0
        self.speed_rad_s = after
        flow = pump.displacement_m3_rad * after
        if flow <= pump.leak_m3_s_pa * pressure_pa:
            self.slope = 0.0
            return 0.0
        self.slope = pump.leak_m3_s_pa
        return flow

    @property
    def current_a(self) -> float:
        """Through the motor; the battery carries `duty` times as much on average."""
        net_v = self._duty * self._battery_v - self._spec.emf_v_s * self.speed_rad_s
        return max(net_v, 0.0) / self._total_ohm

    @property
    def battery_a(self) -> float:
        return self._duty * self.current_a
