"""Manifold, gas, hoses, sections and orifices against closed forms and published figures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from host_sim.plant.catalogue import machine_spec
from host_sim.plant.hose import Hose, friction_factor
from host_sim.plant.manifold import Manifold
from host_sim.plant.plumbing_spec import LiquidSpec, ManifoldSpec
from host_sim.plant.sections import conductance
from host_sim.plant.spec import MachineSpec
from host_sim.plant.steady import steady_state
from host_sim.plant.units import ATMOSPHERE_PA, BAR_PA, L_MIN_M3_S

WATER = LiquidSpec()


@dataclass
class Feed:
    """A supply that is a straight line."""

    flow_m3_s: float
    slope: float = 0.0
    curved: bool = False

    def line(self, pressure_pa: float) -> tuple[float, float]:
        return self.flow_m3_s, self.slope


def k_si(l_min_at_1_bar: float) -> float:
    return l_min_at_1_bar * L_MIN_M3_S / math.sqrt(BAR_PA)


def node(**values: float) -> Manifold:
    """A manifold without check valves or relief."""
    return Manifold(ManifoldSpec(**values), check_pa=0.0, relief_pa=0.0)


def test_linear_rc_charges_to_its_closed_form():
    """C = 1.5e-10, R = 2e9, Q = 2e-4: P = QR (1 - exp(-t / 0.3 s)).

    Backward Euler of step h lags by about h/2: at 0.1 ms that is 5e-5 / 0.3 of the way to go.
    """
    tank = node(compliance_m3_pa=1.5e-10)
    expected = {50: 0.614073, 100: 1.133875, 300: 2.528482, 600: 3.458659, 1500: 3.973048}
    for step in range(15_000):
        tank.step(Feed(2e-4, 1 / 2e9), 0.0, 1e-4)
        at_ms = (step + 1) / 10
        if at_ms in expected:
            assert tank.pressure_pa / BAR_PA == pytest.approx(expected[at_ms], rel=2e-4)


@pytest.mark.parametrize(
    ("start_bar", "flow", "end_bar", "seconds"),
    [
        (0.5, 12.0, 1.0, 0.119618), (0.5, 12.0, 1.5, 0.320804), (0.5, 12.0, 2.0, 0.788590),
        (0.5, 12.0, 2.2, 1.502664), (2.25, 0.0, 0.5625, 0.225),
    ],
)
def test_orifice_tank_reaches_each_pressure_on_time(start_bar, flow, end_bar, seconds):
    """C P' = Qp - k sqrt(P) integrates to
    t = -(2C/k) [(x - x0) + (Qp/k) ln((Qp - k x) / (Qp - k x0))], x = sqrt(P);
    with Qp = 0, sqrt(P) = sqrt(P0) - k t / 2C. k = 8 L/min at 1 bar, C = 2e-10.
    """
    tank = node(compliance_m3_pa=2e-10)
    tank.pressure_pa = start_bar * BAR_PA
    for _ in range(round(seconds * 1e5)):
        tank.step(Feed(flow * L_MIN_M3_S), k_si(8.0), 1e-5)
    assert tank.pressure_pa / BAR_PA == pytest.approx(end_bar, rel=2e-4)


def test_emptying_tank_stops_at_zero():
    tank = node(compliance_m3_pa=2e-10)
    tank.pressure_pa = 2.25 * BAR_PA  # empty after 2 C x0 / k = 0.450 s
    pressures = []
    for _ in range(100):
        tank.step(Feed(0.0), k_si(8.0), 0.005)
        pressures.append(tank.pressure_pa)
    assert pressures[85] > 0.0 and pressures[-1] < 1.0


@pytest.mark.parametrize(
    ("gas", "bar", "ml_per_bar"),
    [
        ({"air_m3": 50e-6}, 2.0, 5.6), ({"air_m3": 50e-6}, 4.0, 2.0), ({"air_m3": 200e-6}, 2.0, 22),
        ({"accumulator_m3": 0.75e-3, "precharge_pa": 1.5e5}, 2.0, 208),
        ({"accumulator_m3": 0.75e-3, "precharge_pa": 1.5e5}, 3.0, 117),
    ],
)
def test_gas_gives_the_compliance_of_boyles_law(gas, bar, ml_per_bar):
    """C = n V0 P0 / Pabs^2 with n = 1, V0 at P0: 50 mL of air 5.6 mL/bar at 2 bar, and so on.

    Measured as on a machine: dose a known volume into the closed manifold, read the pressure.
    """
    tank = node(compliance_m3_pa=1e-13, **gas)
    tank.pressure_pa = (bar - 0.05) * BAR_PA
    dose = ml_per_bar * 1e-6 * 0.1
    for _ in range(100):
        tank.step(Feed(dose / 0.5), 0.0, 0.005)
    rise_bar = tank.pressure_pa / BAR_PA - (bar - 0.05)
    # the tabled values have two or three digits; the step of 0.1 bar is centred on the pressure
    assert dose * 1e6 / rise_bar == pytest.approx(ml_per_bar, rel=0.02)


def test_gas_volume_is_kept_exactly_through_large_swings():
    """Air and accumulator filled from empty and let out again: all liquid comes back.

    Boyle: room taken = V0 (1 - Patm / Pabs) for air, Va (1 - Ppre / Pabs) above the precharge.
    """
    tank = node(compliance_m3_pa=1e-10, air_m3=100e-6, accumulator_m3=0.3e-3, precharge_pa=1.5e5)
    put_in = out = 0.0
    for step in range(4000):
        flow = 1e-4 if step < 2000 else 0.0
        k = k_si(4.0) if step >= 1000 else 0.0
        tank.step(Feed(flow), k, 0.005)
        put_in += flow * 0.005
        out += k * tank.root_pa05 * 0.005
        absolute = tank.pressure_pa + ATMOSPHERE_PA
        held = tank.pressure_pa * 1e-10 + 100e-6 * (1 - ATMOSPHERE_PA / absolute)
        held += 0.3e-3 * max(1 - (1.5e5 + ATMOSPHERE_PA) / absolute, 0.0)
        assert put_in - out - held == pytest.approx(0.0, abs=1e-6 * put_in)
    assert tank.pressure_pa < 1e3


def test_accumulator_slows_the_manifold_to_seconds():
    """tau = 2 C Q / k^2: 208 mL/bar, 2 bar, 12 L/min is 4.2 s."""
    k = 12 / math.sqrt(2)
    tank = node(compliance_m3_pa=1e-12, accumulator_m3=0.75e-3, precharge_pa=1.5e5)
    tank.pressure_pa = 2.05 * BAR_PA
    seconds = 0.0
    while tank.pressure_pa > (2.0 + 0.05 / math.e) * BAR_PA:
        tank.step(Feed(12 * L_MIN_M3_S), k_si(k), 0.005)
        seconds += 0.005
    assert seconds == pytest.approx(208e-11 * 2 * 12 * L_MIN_M3_S / k_si(k) ** 2, rel=0.04)


@pytest.mark.parametrize(
    ("l_min", "bore", "length", "bar"),
    [(12.0, 0.019, 5.0, 0.018811), (40.0, 0.025, 6.0, 0.0508)],
)
def test_hose_loss_is_darcy_weisbach(l_min, bore, length, bar):
    """12 L/min of water at 20 C in 5 m of 19 mm hose: Re 13351.7, f 0.028783, 0.018811 bar."""
    flow = l_min * L_MIN_M3_S
    loss_pa = Hose(length, bore, 1.5e-6, 0.0, WATER).resistance(flow) * flow**2
    assert loss_pa / BAR_PA == pytest.approx(bar, rel=2e-3 if bar > 0.02 else 1e-4)


def test_friction_factor_satisfies_colebrook_and_joins_up():
    assert friction_factor(13351.7, 1.5e-6 / 0.019) == pytest.approx(0.028783, abs=2e-6)
    for reynolds in (4e3, 1e4, 1e5, 1e6):
        for rough in (0.0, 1e-4, 1e-2):
            f = friction_factor(reynolds, rough)
            right = -2 * math.log10(rough / 3.7 + 2.51 / (reynolds * math.sqrt(f)))
            assert 1 / math.sqrt(f) == pytest.approx(right, rel=1e-4)
    assert friction_factor(1000, 0.0) == 0.064  # Hagen-Poiseuille
    for edge in (2300, 4000):
        assert friction_factor(edge - 1e-6, 1e-4) == pytest.approx(friction_factor(edge, 1e-4))
    assert friction_factor(0.0, 1e-4) == friction_factor(1.0, 1e-4) == 0.1


def test_fittings_add_velocity_heads():
    """K = 10 at 2 m/s of water is 10 x 998.2 x 2^2 / 2 = 19964 Pa."""
    flow = 2.0 * math.pi / 4 * 0.019**2
    bare, fitted = (Hose(1.0, 0.019, 0.0, k, WATER).resistance(flow) for k in (0.0, 10.0))
    assert (fitted - bare) * flow**2 == pytest.approx(19964.0, rel=1e-6)
    assert Hose(0.0, 0.019, 0.0, 10.0, WATER).resistance(flow) == 0.0


def test_four_times_the_pressure_doubles_the_flow():
    """"Pressure must be increased four times to double nozzle flow rate": Oklahoma State Univ.
    Extension, Calibrating a Low-Pressure Ground Sprayer,
    https://extension.okstate.edu/fact-sheets/calibrating-a-low-pressure-ground-sprayer-boom-mounted-nozzles.html
    """
    k = conductance(2.0 * L_MIN_M3_S, 3e5, WATER)
    assert k * math.sqrt(4 * 3e5) == pytest.approx(2 * 2.0 * L_MIN_M3_S)


@pytest.mark.parametrize(
    ("lb_gal", "factor"), [(7.0, 0.92), (10.65, 1.13), (11.06, 1.15), (11.4, 1.17), (12.0, 1.20)]
)
def test_density_divides_the_flow_by_the_published_factor(lb_gal, factor):
    """"The conversion factors are the square root of the fluid's specific gravity": Univ. of
    Nebraska CropWatch, Setting the Sprayer Flow Rate for Non-Water Solutions (2016),
    https://cropwatch.unl.edu/2016/setting-sprayer-flow-rate-non-water-solutions
    Printed with two decimals; water 8.34 lb/gal.
    """
    liquid = LiquidSpec(density_kg_m3=998.2 * lb_gal / 8.34)
    ratio = conductance(1e-5, 3e5, WATER) / conductance(1e-5, 3e5, liquid)
    assert ratio == pytest.approx(factor, abs=0.006)


def network(mask_k: float = 0.91177, check_pa: float = 0.5e5) -> MachineSpec:
    """40 - 2 P L/min into a 25 mm x 6 m main, three hoses, 6, 8 and 6 nozzles of k 0.91177."""
    return machine_spec(
        "bypass_pd",
        pump={"flow_l_min": 40.0, "leak_l_min_bar": 2.0},
        valve={"start_share": 0.0},
        manifold={"main_m": 6.0, "main_bore_mm": 25, "main_fittings": 0.0, "relief_pa": 0.0},
        sections={
            "orifice_count": [6, 8, 6], "orifice_flow_l_min": mask_k, "orifice_pressure_bar": 1.0,
            "check_pa": check_pa, "valve_flow_m3_s": 1.0, "hose_m": [3.0, 1.5, 3.0],
            "hose_bore_mm": 12.7, "hose_fittings": 0.0,
        },
        liquid={"density_kg_m3": 998.2, "viscosity_pa_s": 1.002e-3},
    )


@pytest.mark.parametrize(
    ("mask", "pump_bar", "manifold_bar", "flows"),
    [
        (0b111, 3.758086, 3.722923, (9.739646, 13.004536, 9.739646)),
        (0b011, 5.653498, 5.625255, (12.287717, 16.405287, 0.0)),
        (0b010, 9.273964, 9.257036, (0.0, 21.452071, 0.0)),
    ],
)
def test_network_balances_as_solved_elsewhere(mask, pump_bar, manifold_bar, flows):
    """Three sections behind hoses with Colebrook friction, solved before with SciPy's root finder.

    2e-4 of the flows: the section valve's own 1 m3/s at 1 bar is part of the line here.
    """
    rest = steady_state(network(), 0.0, mask)
    assert rest.pump_pressure_pa / BAR_PA == pytest.approx(pump_bar, rel=2e-4)
    assert rest.pressure_pa / BAR_PA == pytest.approx(manifold_bar, rel=2e-4)
    for mine, theirs in zip(rest.section_flow_m3_s, flows, strict=True):
        assert mine / L_MIN_M3_S == pytest.approx(theirs, rel=2e-4)


def test_stiff_source_lifts_the_rest_when_nozzles_close():
    """From 20 to 14 nozzles on a constant flow: P x (20/14)^2 = 2.04082, q x 20/14 = 1.42857."""
    spec = network(check_pa=0.0).override(
        pump={"leak_m3_s_pa": 0.0}, manifold={"main_m": 0.0}, sections={"hose_m": 0.0}
    )
    both, rest = (steady_state(spec, 0.0, mask) for mask in (0b111, 0b011))
    assert rest.pressure_pa / both.pressure_pa == pytest.approx(2.04082, rel=1e-5)
    ratio = rest.section_flow_m3_s[0] / both.section_flow_m3_s[0]
    assert ratio == pytest.approx(1.42857, rel=1e-5)
