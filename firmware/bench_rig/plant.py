"""The machine that the rig plays: pump, manifold, section valves, orifices and flow meter.

The equations, step by step, are those of host_sim/plant, in SI units and floats; the host reckons
the numbers from a machine (host_sim/board/rig_numbers.py). Left out against the twin: what only
disturbs (noise, ripple, air), and the friction of a hose has the factor of one flow.
"""

from math import exp, sqrt

from bench_rig.pumps import MODELS

ROUNDS = 12  # of the implicit step where the pump's line bends
CLOSE_PA = 2.0


class Plant:
    """A machine in motion; `numbers` is what the host reckoned.

    A board's floats have 24 bits: a sum over a whole run would round its small parts away. What
    grows is therefore kept as whole numbers and a rest, or given out as growth.
    """

    def __init__(self, numbers):
        sections, manifold, meter = numbers["sections"], numbers["manifold"], numbers["meter"]
        self._volts = numbers["supply"]["volts"]
        self._ohm = numbers["supply"]["ohm"]
        self._sections = sections
        self._compliance = manifold["compliance_m3_pa"]
        self._after_meter = manifold["after_meter_share"]
        self._check = manifold["check_pa"]
        self._relief = manifold["relief_pa"]
        self._relief_slope = manifold["relief_m3_s_pa"]
        self._meter_floor = meter["floor_m3_s"]
        self._meter_rate = meter["rate_per_m3"]
        self._meter_coast = meter["coast_per_s"]
        self._pulses_per_m3 = meter["pulses_per_m3"]
        self.pump = MODELS[numbers["pump"]["model"]](numbers["pump"], manifold)
        self.count = len(sections["squares"])
        self._area = [0.0] * self.count  # of each section valve, 0 closed to 1 open
        self._parts = [0.0] * self.count
        self._conductance = 0.0
        self._mask = 0
        self._moving = True
        self._section_ml = [0] * self.count  # whole ones that each has let out
        self._section_rest_ml = [0.0] * self.count
        self.pressure_pa = self._root = 0.0  # _root: of the pressure above the check valves'
        self._let_out = 0.0  # sum of root and span, not yet shared out to the sections
        self._entering = 0.0
        self._rotor = 0.0
        self._pulses = 0.0
        self.supply_v = self._volts

    @property
    def flow_m3_s(self):
        """Out of all orifices."""
        return self._conductance * self._root

    def section_ul(self):
        """Return what each section has let out since the start, whole microlitres."""
        self._share_out()
        return [self._section_ml[index] * 1000 + int(self._section_rest_ml[index] * 1000)
                for index in range(self.count)]

    def take_pulses(self):
        """Return the meter's pulses since the last call, with their fraction."""
        pulses, self._pulses = self._pulses, 0.0
        return pulses

    def drive(self, duty, mask):
        """Take duty, 0 to 1, and section valves from now on."""
        self.pump.drive(duty, self._volts, self._ohm)
        self.supply_v = max(self._volts - self._ohm * self.pump.battery_a, 0.0)
        if mask != self._mask:
            self._mask = mask
            self._moving = True

    def step(self, span):
        """Let a span pass, at most 5 ms; in the order of the flow."""
        if self._moving:
            self._move_sections(span)
        self.pump.step(self.pressure_pa, span)
        self._fill(span)
        self._let_out += self._root * span
        self._turn_meter(span)

    def _share_out(self):
        """Give each section its part of what was let out since its part last changed."""
        let_out, self._let_out = self._let_out * 1e6, 0.0
        for index in range(self.count):
            rest = self._section_rest_ml[index] + self._parts[index] * let_out
            whole = int(rest)
            self._section_ml[index] += whole
            self._section_rest_ml[index] = rest - whole

    def _move_sections(self, span):
        sections, area = self._sections, self._area
        self._share_out()
        self._moving = False
        self._conductance = 0.0
        for index in range(self.count):
            if self._mask >> index & 1:
                area[index] = min(area[index] + span / sections["open_s"], 1.0)
                self._moving |= area[index] < 1.0
            else:
                area[index] = max(area[index] - span / sections["close_s"], 0.0)
                self._moving |= area[index] > 0.0
            k = area[index] * sections["valve_k"]
            # resistances in series add as 1 / k^2, in parallel as k
            part = 1.0 / sqrt(sections["squares"][index] + 1.0 / (k * k)) if k > 0.0 else 0.0
            self._parts[index] = part
            self._conductance += part

    def _fill(self, span):
        """Let the manifold fill: C dP/dt = flow - slope P - k sqrt(P - Pc), backward Euler."""
        pump, check, k = self.pump, self._check, self._conductance
        guess = self.pressure_pa
        per_s = self._compliance / span
        released = per_s * guess
        for _ in range(ROUNDS if pump.curved else 1):
            if pump.curved:
                pump.look(guess)
            stiffness = per_s + pump.slope
            excess = released + pump.flow - stiffness * check
            root = solved(stiffness, excess, k)
            pressure = check + (root * root if root else excess / stiffness)
            if self._relief and pressure > self._relief:
                stiffness += self._relief_slope
                excess += self._relief_slope * (self._relief - check)
                root = solved(stiffness, excess, k)
                pressure = check + root * root
            if -CLOSE_PA < pressure - guess < CLOSE_PA:
                break
            guess = pressure
        self._root = root
        self.pressure_pa = pressure = pressure if pressure > 0.0 else 0.0
        entering = k * root + self._after_meter * (per_s * pressure - released)
        self._entering = entering if entering > 0.0 else 0.0

    def _turn_meter(self, span):
        """Turn the rotor: dm/dt = r (M(Q) - m), M(Q) = Q (1 - (Qf / Q)^2)."""
        flow, floor = self._entering, self._meter_floor
        rest = flow - floor * floor / flow if flow > floor else 0.0
        rate = flow * self._meter_rate
        if rate < self._meter_coast:
            rate = self._meter_coast
        away = self._rotor - rest
        left = away * exp(-rate * span)
        self._rotor = rest + left
        self._pulses += self._pulses_per_m3 * (rest * span + (away - left) / rate)


def solved(stiffness, excess, k):
    """Return the root x of stiffness x^2 + k x = excess, which is sqrt(P - Pc); 0 below Pc."""
    if excess <= 0.0:
        return 0.0
    return 2.0 * excess / (k + sqrt(k * k + 4.0 * stiffness * excess))
