"""Every machine against SciPy's integration of the same physics, written down again here.

Nothing of the plant's code is used but its parameters: friction factors come from the closed
form of Colebrook-White by Lambert's W, flows from fixed-point iteration, time from `solve_ivp`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.spec import BYPASS_VALVE, INLINE_VALVE, PWM_PUMP, MachineSpec

START_S = 8.0  # at rest before the story begins
STORY_S = 2.5
STEP_S = 0.3  # duty step, or the regulating valve's motor starts
PULSE_S = 0.4
CLOSE_S = 1.2  # the first section is switched off
WATER = 998.2


def darcy(reynolds: float, rough: float) -> float:
    """f; the laminar branch is capped at 0.1, as the plant says it is."""
    if reynolds < 2300:
        return min(64 / max(reynolds, 1e-9), 0.1)
    if reynolds < 4000:
        low, high = 64 / 2300, darcy(4000, rough)
        return low + (reynolds - 2300) / 1700 * (high - low)
    a, b = rough / 3.7, 2.51 / reynolds
    ln10 = math.log(10)
    w = lambertw(ln10 / (2 * b) * 10 ** (a / (2 * b))).real
    return (2 / ln10 * w - a / b) ** -2


def hose_r(spec: MachineSpec, flow: float, length: float, bore: float, k: float, rough: float):
    """dP / Q^2 of a hose."""
    if length == 0:
        return 0.0
    rho, mu = spec.liquid.density_kg_m3, spec.liquid.viscosity_pa_s
    area = math.pi / 4 * bore**2
    friction = darcy(flow / area * bore * rho / mu, rough / bore)
    return (friction * length / bore + k) * rho / 2 / area**2


def k_of(spec: MachineSpec, flow: float, pressure: float) -> float:
    return flow / math.sqrt(pressure) * math.sqrt(WATER / spec.liquid.density_kg_m3)


@dataclass
class Story:
    """What is done to the machine, and its equations."""

    spec: MachineSpec
    duty: tuple[float, float] = (0.0, 0.0)
    position: tuple[float, float] = (0.0, 0.0)  # of the valve before and after its pulse

    def duty_at(self, t: float) -> float:
        return self.duty[int(t >= STEP_S)]

    def valve_k(self, t: float) -> float:
        valve = self.spec.valve
        first, last = self.position
        share = min(max((t - STEP_S) / PULSE_S, 0), 1)
        ball = first + share * (last - first)
        opening = (valve.rangeability**ball - 1) / (valve.rangeability - 1)
        return k_of(self.spec, valve.flow_m3_s, 1e5) * opening

    def section_area(self, i: int, t: float) -> float:
        return 1.0 if i else min(max(1 - (t - CLOSE_S) / self.spec.sections.close_s, 0), 1)

    def section_flow(self, i: int, t: float, pressure: float) -> float:
        s = self.spec.sections
        area = self.section_area(i, t)
        if pressure <= s.check_pa or area <= 0:
            return 0.0
        valve = area * k_of(self.spec, s.valve_flow_m3_s, 1e5)
        nozzles = s.orifice_count[i] * k_of(self.spec, s.orifice_flow_m3_s, s.orifice_pressure_pa)
        length = (s.hose_m * s.count)[i] if len(s.hose_m) == 1 else s.hose_m[i]
        flow = math.sqrt(pressure - s.check_pa) / math.sqrt(valve**-2 + nozzles**-2)
        for _ in range(8):
            r = hose_r(self.spec, flow, length, s.hose_bore_m, s.hose_fittings, s.roughness_m)
            flow = math.sqrt((pressure - s.check_pa) / (valve**-2 + nozzles**-2 + r))
        return flow

    def out(self, t: float, pressure: float) -> float:
        return sum(self.section_flow(i, t, pressure) for i in range(self.spec.sections.count))

    def main_r(self, flow: float) -> float:
        m = self.spec.manifold
        return hose_r(self.spec, flow, m.main_m, m.main_bore_m, m.main_fittings, m.roughness_m)

    def relief(self, pressure: float) -> float:
        m = self.spec.manifold
        if m.relief_pa == 0 or self.spec.actuator == INLINE_VALVE:
            return 0.0
        return max(pressure - m.relief_pa, 0) * m.relief_slope_m3_s_pa

    def displaced(self, flow: float, pressure: float) -> float:
        """What a pump that displaces `flow` delivers, its slip at the pump's own outlet."""
        q = flow
        for _ in range(8):
            q = max(flow - self.spec.pump.leak_m3_s_pa * (pressure + self.main_r(q) * q * q), 0)
        return q

    def rate(self, t: float, y: np.ndarray) -> list[float]:
        """d/dt of (drive state, manifold pressure, metered flow, litres out)."""
        drive, pressure, rotor, _ = y
        pressure = max(pressure, 0.0)
        d_drive, into = getattr(self, self.spec.kind.split("_")[0])(t, drive, pressure)
        out = self.out(t, pressure)
        net = into - self.relief(pressure) - out
        meter, share = self.spec.meter, self.spec.manifold.after_meter_share
        metered = max(out + share * net, 0.0)
        floor = meter.floor_share * meter.full_scale_m3_s
        rest = metered - floor**2 / metered if metered > floor else 0.0
        speed = max(metered / (meter.lag_s * meter.full_scale_m3_s), 1 / meter.coast_s)
        return [d_drive, net / self.spec.manifold.compliance_m3_pa, speed * (rest - rotor),
                out * 1e3]

    def electric(self, t: float, w: float, pressure: float) -> tuple[float, float]:
        pump, supply, duty = self.spec.pump, self.spec.supply, self.duty_at(t)
        volts = supply.open_v - supply.resistance_ohm * supply.base_current_a
        ohm = pump.resistance_ohm + duty**2 * supply.resistance_ohm
        current = max((duty * volts - pump.emf_v_s * w) / ohm, 0)
        into = self.displaced(pump.displacement_m3_rad * w, pressure)
        outlet = pressure + self.main_r(into) * into**2
        torque = pump.emf_v_s * current - pump.friction_nm - pump.displacement_m3_rad * outlet
        return torque / pump.inertia_kg_m2, into

    def hydraulic(self, t: float, travel: float, pressure: float) -> tuple[float, float]:
        pump, supply, duty = self.spec.pump, self.spec.supply, self.duty_at(t)
        volts = supply.open_v - supply.resistance_ohm * supply.base_current_a
        amps = duty * volts / (pump.coil_ohm + duty * supply.resistance_ohm)
        command = amps * pump.coil_ohm / pump.nominal_v - pump.play_share / 2  # rising branch
        aim = min(max((command - pump.dead_share) / (pump.full_share - pump.dead_share), 0), 1)
        top = pump.motor_efficiency * pump.oil_flow_m3_s / pump.motor_m3_rad
        flow = pump.displacement_m3_rad * top * max(travel, 0) ** pump.exponent
        return (aim - travel) / pump.lag_s, self.displaced(flow, pressure)

    def inline(self, t: float, _: float, pressure: float) -> tuple[float, float]:
        spec, pump, k = self.spec, self.spec.pump, self.valve_k(t)
        low, high = 0.0, 1.0  # m3/s; bisection on the pressure balance along the line
        for _round in range(60):
            flow = (low + high) / 2
            if spec.kind.endswith("centrifugal"):
                head = pump.shutoff_pa - pump.droop_pa * (flow / pump.rated_flow_m3_s) ** 2
            else:
                spare, m = pump.flow_m3_s - flow, spec.manifold
                blown = spare + m.relief_slope_m3_s_pa * m.relief_pa
                head = blown / (m.relief_slope_m3_s_pa + pump.leak_m3_s_pa)
                head = head if head > m.relief_pa else spare / pump.leak_m3_s_pa
            if head - (self.main_r(flow) + k**-2) * flow**2 > pressure:
                low = flow
            else:
                high = flow
        return 0.0, low

    def bypass(self, t: float, _: float, pressure: float) -> tuple[float, float]:
        pump = self.spec.pump
        if self.spec.kind.endswith("centrifugal"):
            a = pump.droop_pa / pump.rated_flow_m3_s**2
            flow = 0.0
            for _round in range(12):
                flow = math.sqrt(max(pump.shutoff_pa - pressure, 0) / (a + self.main_r(flow)))
        else:
            flow = self.displaced(pump.flow_m3_s, pressure)
        return 0.0, flow - self.valve_k(t) * math.sqrt(pressure)


def story(kind: str) -> Story:
    """A step of the actuator that adds flow, then the first section goes."""
    spec = machine_spec(kind)
    if spec.actuator == PWM_PUMP:
        return Story(spec, duty=(0.45, 0.65))
    first = {INLINE_VALVE: 0.55, BYPASS_VALVE: 0.75}[spec.actuator]
    spec = spec.override(valve={"start_share": first, "play_share": 0, "start_s": 0,
                                "overrun_s": 0, "travel_s": 4.0})
    sign = 1 if spec.actuator == INLINE_VALVE else -1
    return Story(spec, position=(first, first + sign * PULSE_S / 4.0))


def live(tale: Story, times_s: np.ndarray) -> tuple[list[float], np.ndarray]:
    """The machine itself: its state at the start of the story, and (P, metered, litres) after."""
    spec = tale.spec
    everything = (1 << spec.sections.count) - 1
    machine = Machine(spec)
    machine.advance(round(START_S * 1e6), Actuation(tale.duty[0], 0, everything), 0.0)

    def state() -> list[float]:
        return [machine.pressure_pa, machine.flow_meter.rotor_m3_s,
                sum(machine.section_volume_ml) * 1e-3]

    speed = machine.pump_speed_rad_s
    if spec.kind == "hydraulic":
        top = spec.pump.motor_efficiency * spec.pump.oil_flow_m3_s / spec.pump.motor_m3_rad
        speed = (speed / top) ** (1 / spec.pump.exponent)
    start, rows = [speed, *state()], []
    begin_s = 0.0
    for t in times_s:
        pulse_ms = round(1000 * (STEP_S + PULSE_S - begin_s))
        driven = spec.actuator != PWM_PUMP and begin_s >= STEP_S - 1e-9 and pulse_ms > 0
        sign = 1 if tale.position[1] > tale.position[0] else -1
        mask = everything - (begin_s >= CLOSE_S - 1e-9)
        duty = tale.duty[int(begin_s >= STEP_S - 1e-9)]
        machine.advance(round((START_S + t) * 1e6),
                        Actuation(duty, sign * pulse_ms if driven else 0, mask), 0.0)
        rows.append(state())
        begin_s = t
    return start, np.array(rows).T


@pytest.mark.parametrize("kind", KINDS)
def test_machine_runs_as_scipy_integrates_it(kind):
    """Pressure and metered flow never leave the reference by more than two substeps of time.

    Backward Euler lags by half a 5 ms step and the parts are solved one after another within a
    step, which costs up to one more: so the live value at t must lie among the reference's
    between t - 10 ms and t + 10 ms, within 0.3 % of its greatest value (friction factors are
    renewed when the flow has changed by 1 %). The volume, where lags cancel, to 0.3 %.
    """
    tale = story(kind)
    grid = (np.arange(50, 2501, 50) / 1000).tolist()
    start, (pressure, metered, litres) = live(tale, grid)
    fine = np.arange(0, STORY_S + 0.011, 0.0025)
    reference = solve_ivp(tale.rate, (0, fine[-1]), start, t_eval=fine, method="LSODA", rtol=1e-7,
                          atol=[1e-7, 1e-1, 1e-11, 1e-8], max_step=0.01).y
    for mine, theirs in ((pressure, reference[1]), (metered, reference[2])):
        slack = 0.003 * theirs.max()
        for t, value in zip(grid, mine, strict=True):
            near = theirs[(fine >= t - 0.0101) & (fine <= t + 0.0101)]
            assert near.min() - slack <= value <= near.max() + slack, f"at {t} s"
    assert np.ptp(pressure) > 0.1 * pressure.max()  # the story does move it
    assert litres[-1] - start[3] == pytest.approx(reference[3][-5] - start[3], rel=3e-3)
