"""What feeds the rig's manifold: three kinds of pump, each with all that drives it, in SI units.

The equations, step by step, are those of host_sim/plant: electric_pump.py, hydraulic_pump.py,
regulated_pump.py and shaft_pump.py say where they come from. A pump is a line `flow - slope P` at
the manifold's pressure P; `curved` tells that the line holds at one pressure only.
"""

from math import exp, sqrt

from bench_rig.ball_valve import BallValve

SMOOTH_PA = 1e-4  # drop below which a square-root law becomes a straight line


class MotorPump:
    """A brushed motor and the diaphragm pump that it turns; the duty acts as a mean voltage."""

    curved = False

    def __init__(self, pump, manifold):
        self.flow = self.slope = 0.0
        self.battery_a = 0.0
        self._main = manifold["main_square"]
        self._leak = pump["leak_m3_s_pa"]
        self._displacement = pump["displacement_m3_rad"]
        self._take(pump)
        self.drive(0.0, 0.0, 0.0)

    def _take(self, pump):
        self._own_ohm = pump["resistance_ohm"]
        self._emf = pump["emf_v_s"]
        self._friction = pump["friction_nm"]
        self._breakaway = pump["breakaway_nm"]
        self._inertia = pump["inertia_kg_m2"]
        self._speed = 0.0  # rad/s

    def drive(self, duty, supply_v, supply_ohm):
        """Take the duty, 0 to 1, and the battery behind it from now on."""
        emf = self._emf
        ohm = self._own_ohm + supply_ohm * duty * duty
        self._torque = emf * duty * supply_v / ohm
        self._damping = emf * emf / ohm
        self.battery_a = duty * max(duty * supply_v - emf * self._speed, 0.0) / ohm

    def step(self, pressure, span):
        """Turn for a span against the manifold's pressure: backward Euler in speed."""
        speed, torque = self._speed, self._torque
        main = self.flow - self.slope * pressure
        loss = self._main * main * main
        hydraulic = self._displacement * (pressure + loss)
        if speed == 0.0 and torque <= self._breakaway + hydraulic:
            self.flow = self.slope = 0.0
            return
        per_j = span / self._inertia
        load = self._friction + hydraulic
        after = (speed + per_j * (torque - load)) / (1.0 + per_j * self._damping)
        if after * self._damping > torque:  # the diode blocks: no braking current
            after = speed - per_j * load
        self._speed = after = after if after > 0.0 else 0.0
        self._deliver(self._displacement * after, loss, pressure)

    def _deliver(self, flow, loss, pressure):
        leak = self._leak
        if flow > leak * (pressure + loss):
            self.flow = flow - leak * loss
            self.slope = leak
        else:
            self.flow = self.slope = 0.0


class SpoolPump(MotorPump):
    """A PWM proportional valve, the oil motor behind it and the pump which that turns."""

    def _take(self, pump):
        self._pump = pump
        self._held = 0.0  # command after the play of the spool
        self._travel = 0.0  # of the spool, 0 to 1

    def drive(self, duty, supply_v, supply_ohm):
        """Take the duty, 0 to 1, and the battery behind it from now on."""
        pump = self._pump
        coil_v = supply_v * pump["coil_ohm"] / (pump["coil_ohm"] + supply_ohm * duty)
        command = duty * coil_v / pump["nominal_v"]
        half = 0.5 * pump["play_share"]
        self._held = min(max(self._held, command - half), command + half)
        self.battery_a = command * pump["nominal_v"] / pump["coil_ohm"]

    def step(self, pressure, span):
        """Move the spool for a span; the shaft follows at once."""
        pump = self._pump
        share = (self._held - pump["dead_share"]) / (pump["full_share"] - pump["dead_share"])
        aim = min(max(share, 0.0), 1.0)
        self._travel = travel = aim + (self._travel - aim) * exp(-span / pump["lag_s"])
        speed = pump["top_speed_rad_s"] * travel ** pump["exponent"]
        main = self.flow - self.slope * pressure
        self._deliver(self._displacement * speed, self._main * main * main, pressure)


class ShaftPump:
    """A pump on a shaft of its own, behind it a regulating valve in line or back to the tank.

    Both kinds are `head - linear Q - square Q^2 = P`: a centrifugal pump has no linear part, one of
    positive displacement no square one. `relief` is the same line while a relief valve at the
    pump blows, None without one.
    """

    curved = True
    battery_a = 0.0

    def __init__(self, pump, manifold):
        self.valve = BallValve(pump["valve"])
        self.flow = self.slope = 0.0
        self._main = manifold["main_square"]
        self._in_line = pump["in_line"]
        self._head, self._linear, self._square = pump["head_pa"], pump["linear"], pump["square"]
        self._relief = pump["relief"]
        self._full_k = pump["valve"]["full_k"]
        self._k = self.valve.share() * self._full_k

    def drive(self, duty, supply_v, supply_ohm):
        """The board drives the valve alone, see `turn`."""

    def step(self, pressure, span):
        """Let the valve move for a span."""
        if self.valve.step(span):
            self._k = self.valve.share() * self._full_k

    def look(self, pressure):
        """Work out the line at a pressure of the manifold."""
        k, square = self._k, self._main
        if self._in_line:
            if k <= 0.0:
                self.flow = self.slope = 0.0
                return
            square += 1.0 / (k * k)
        self._take(self._head, self._linear, self._square + square, pressure)
        if self._relief:
            shut = self.flow, self.slope
            self._take(self._relief[0], self._relief[1], square, pressure)
            if shut[0] - shut[1] * pressure < self.flow - self.slope * pressure:
                self.flow, self.slope = shut
        if not self._in_line:
            self._bypass(k, pressure)

    def _take(self, head, linear, square, pressure):
        """Tangent of the flow of head - linear Q - square Q^2 = P; none flows backwards."""
        drop = head - pressure
        if drop <= 0.0:
            self.flow = self.slope = 0.0
            return
        linear = max(linear, sqrt(4.0 * square * SMOOTH_PA))
        flow = 2.0 * drop / (linear + sqrt(linear * linear + 4.0 * square * drop))
        self.slope = 1.0 / (linear + 2.0 * square * flow)
        self.flow = flow + self.slope * pressure

    def _bypass(self, k, pressure):
        """Take away what the valve lets back to the tank; a straight line below 1 Pa."""
        if pressure < 1.0:
            self.slope += k
            return
        root = sqrt(pressure)
        self.flow -= 0.5 * k * root
        self.slope += 0.5 * k / root


MODELS = {"motor": MotorPump, "spool": SpoolPump, "shaft": ShaftPump}
