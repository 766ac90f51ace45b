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
        sections = numbers["sections"]
        self._supply = numbers["supply"]
        self._manifold = numbers["manifold"]
        self._sections = sections
        self._meter = numbers["meter"]
        self.pump = MODELS[numbers["pump"]["model"]](numbers["pump"], self._manifold)
        self.count = len(sections["squares"])
        self._area = [0.0] * self.count  # of each section valve, 0 closed to 1 open
        self._parts = [0.0] * self.count
        self._conductance = 0.0
        self._mask = 0
        self._moving = True
        self._section_ml = [0] * self.count  # whole ones that each has let out
        self._section_rest_ml = [0.0] * self.count
        self.pressure_pa = self._root = 0.0
        self._entering = 0.0
        self._rotor = 0.0
        self._pulses = 0.0
        self.supply_v = self._supply["volts"]

    @property
    def flow_m3_s(self):
        """Out of all orifices."""
        return self._conductance * self._root

    def section_ul(self):
        """Return what each section has let out since the start, whole microlitres."""
        return [self._section_ml[index] * 1000 + int(self._section_rest_ml[index] * 1000)
                for index in range(self.count)]

    def take_pulses(self):
        """Return the meter's pulses since the last call, with their fraction."""
        pulses, self._pulses = self._pulses, 0.0
        return pulses

    def drive(self, duty, mask):
        """Take duty, 0 to 1, and section valves from now on."""
        supply = self._supply
        self.pump.drive(duty, supply["volts"], supply["ohm"])
        self.supply_v = max(supply["volts"] - supply["ohm"] * self.pump.battery_a, 0.0)
        if mask != self._mask:
            self._mask = mask
            self._moving = True

    def step(self, span):
        """Let a span pass, at most 5 ms; in the order of the flow."""
        if self._moving:
            self._move_sections(span)
        self.pump.step(self.pressure_pa, span)
        self._fill(span)
        let_out = self._root * span * 1e6
        for index in range(self.count):
            rest = self._section_rest_ml[index] + self._parts[index] * let_out
            whole = int(rest)
            self._section_ml[index] += whole
            self._section_rest_ml[index] = rest - whole
        self._turn_meter(span)

    def _move_sections(self, span):
        sections, area = self._sections, self._area
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
        manifold, pump = self._manifold, self.pump
        check = manifold["check_pa"]
        before = guess = self.pressure_pa
        per_s = manifold["compliance_m3_pa"] / span
        released = per_s * before
        for _ in range(ROUNDS if pump.curved else 1):
            pump.look(guess)
            stiffness = per_s + pump.slope
            excess = released + pump.flow - stiffness * check
            self._solve(stiffness, excess, check)
            if manifold["relief_pa"] and self.pressure_pa > manifold["relief_pa"]:
                relief = manifold["relief_m3_s_pa"]
                excess += relief * (manifold["relief_pa"] - check)
                self._solve(stiffness + relief, excess, check)
            if abs(self.pressure_pa - guess) < CLOSE_PA:
                break
            guess = self.pressure_pa
        stored = per_s * self.pressure_pa - released
        self._entering = max(self.flow_m3_s + manifold["after_meter_share"] * stored, 0.0)

    def _solve(self, stiffness, excess, check):
        """Take the root x of stiffness x^2 + k x = excess, which is sqrt(P - Pc)."""
        if excess <= 0.0:
            self._root = 0.0
            self.pressure_pa = max(check + excess / stiffness, 0.0)
            return
        k = self._conductance
        root = 2.0 * excess / (k + sqrt(k * k + 4.0 * stiffness * excess))
        self._root = root
        self.pressure_pa = check + root * root

    def _turn_meter(self, span):
        """Turn the rotor: dm/dt = r (M(Q) - m), M(Q) = Q (1 - (Qf / Q)^2)."""
        meter, flow = self._meter, self._entering
        rest = 0.0
        if flow > meter["floor_m3_s"]:
            rest = flow - meter["floor_m3_s"] * meter["floor_m3_s"] / flow
        rate = max(flow * meter["rate_per_m3"], meter["coast_per_s"])
        away = self._rotor - rest
        left = away * exp(-rate * span)
        self._rotor = rest + left
        self._pulses += meter["pulses_per_m3"] * (rest * span + (away - left) / rate)
