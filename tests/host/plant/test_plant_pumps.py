"""Hydraulic drive, regulating valve, shaft-driven pumps: closed forms, dead zones, travel times."""

from __future__ import annotations

import math

import pytest

from host_sim.plant.actuation import Actuation
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.electric_pump import ElectricPump
from host_sim.plant.hydraulic_pump import HydraulicPump
from host_sim.plant.machine import Machine
from host_sim.plant.pump_spec import ElectricPumpSpec, HydraulicPumpSpec, ValveSpec
from host_sim.plant.regulating_valve import RegulatingValve, opening, position
from host_sim.plant.ripple import Ripple
from host_sim.plant.spec import MachineSpec
from host_sim.plant.steady import Conditions, inverse_actuation, steady_state
from host_sim.plant.units import L_MIN_M3_S

LINEAR = ValveSpec(characteristic="linear", travel_s=4.0, play_share=0.02, start_s=0.0,
                   overrun_s=0.0, start_share=0.0)


def drive(valve: RegulatingValve, pulse_ms: int, span_s: float = 0.005) -> None:
    """One whole pulse, and the rest that follows it."""
    valve.drive(pulse_ms)
    for _ in range(round((abs(pulse_ms) + 100) / 1000 / span_s)):
        valve.step(span_s)


def test_valve_needs_its_travel_time_and_its_play():
    """4 s of travel, 2 % play: 30 -> 55 % takes 1.000 s, then 5 % back (5 + 2) / 25 = 0.280 s."""
    valve = RegulatingValve(LINEAR)
    drive(valve, 1240)  # 30 % and half the play, which it starts in the middle of
    assert valve.ball == pytest.approx(0.30, abs=1e-9)
    drive(valve, 1000)
    assert valve.ball == pytest.approx(0.55, abs=1e-9)
    drive(valve, -80)
    assert valve.ball == pytest.approx(0.55, abs=1e-9)
    drive(valve, -200)
    assert valve.ball == pytest.approx(0.50, abs=1e-9)


def test_valve_stops_at_both_ends():
    valve = RegulatingValve(LINEAR)
    drive(valve, 6000)
    assert valve.ball == pytest.approx(1.0)
    drive(valve, -9000)
    assert valve.ball == pytest.approx(0.0)


@pytest.mark.parametrize("span_s", [0.005, 0.0037])
def test_short_pulses_do_nothing_and_long_ones_run_on(span_s):
    """40 ms to start, 15 ms overrun at 4 s travel: a pulse of t moves (t - 25 ms) / 4 s."""
    valve = RegulatingValve(ValveSpec(play_share=0.0, start_s=0.04, overrun_s=0.015,
                                      travel_s=4.0))
    drive(valve, 40, span_s)
    assert valve.ball == 0.0
    drive(valve, 100, span_s)
    assert valve.ball == pytest.approx((0.100 - 0.025) / 4.0, abs=1e-9)


@pytest.mark.parametrize("steps", [5, 10, 20, 25])
@pytest.mark.parametrize("most_ms", [300, 50])
def test_a_pulse_told_anew_each_tick_is_one_pulse(most_ms, steps):
    """300 ms given as 300, 250, ..., or tick by tick as the board does, moves as far as given once.

    However many steps a tick has: what is left of it by rounding is no end of the pulse.
    """
    spec = ValveSpec(play_share=0.0)
    once, anew = RegulatingValve(spec), RegulatingValve(spec)
    drive(once, 300)
    for left_ms in range(300, 0, -50):
        anew.drive(min(left_ms, most_ms))
        for _ in range(steps):
            anew.step(0.05 / steps)
    drive(anew, 0)
    assert anew.ball == pytest.approx(once.ball, abs=1e-9)
    assert not anew.moving and not once.moving


def test_reversal_ends_the_overrun_and_starts_anew():
    """200 ms open, 5 ms off, 100 ms closed: (200 - 40 + 5) ms one way, (100 - 40 + 15) back."""
    valve = RegulatingValve(ValveSpec(play_share=0.0, start_s=0.04, overrun_s=0.015,
                                      travel_s=4.0, start_share=0.5))
    valve.drive(200)
    for _ in range(41):
        valve.step(0.005)
    drive(valve, -100)
    assert valve.ball == pytest.approx(0.5 + (0.165 - 0.075) / 4.0, abs=1e-9)


def test_no_pulse_stops_a_pulse():
    valve = RegulatingValve(LINEAR)
    valve.drive(4000)
    for _ in range(100):
        valve.step(0.005)
    valve.drive(0)
    for _ in range(100):
        valve.step(0.005)
    assert valve.ball == pytest.approx(0.5 / 4.0 - 0.01)


@pytest.mark.parametrize("characteristic", ["linear", "equal_percentage"])
def test_characteristic_and_its_inverse(characteristic):
    spec = ValveSpec(characteristic=characteristic, rangeability=40.0)
    assert opening(spec, 0.0) == 0.0
    assert opening(spec, 1.0) == 1.0
    for share in (0.01, 0.2, 0.5, 0.99):
        assert opening(spec, position(spec, share)) == pytest.approx(share)


def test_equal_percentage_is_equal_percentage():
    """Equal steps of travel multiply the flow equally, R^(dx), once well off the seat."""
    spec = ValveSpec(rangeability=40.0)
    for x in (0.6, 0.7, 0.8, 0.9):
        growth = opening(spec, x + 0.1) / opening(spec, x)
        assert growth == pytest.approx(40**0.1, rel=0.04)


def centrifugal(a_bar: float = 2.0) -> MachineSpec:
    """Ps = 5 bar, a = 2 bar / (100 L/min)^2, nozzles k = 20, linear bypass valve of k = 40."""
    return machine_spec(
        "bypass_centrifugal",
        pump={"shutoff_bar": 5.0, "droop_bar": a_bar, "rated_flow_l_min": 100.0},
        valve={"flow_l_min": 40.0, "characteristic": "linear"},
        manifold={"main_m": 0.0},
        sections={"orifice_count": [1], "orifice_flow_l_min": 20.0, "orifice_pressure_bar": 1.0,
                  "check_pa": 0.0, "hose_m": 0.0, "valve_flow_m3_s": 1.0},
        liquid={"density_kg_m3": 998.2},
    )


@pytest.mark.parametrize(
    ("share", "l_min"), [(0.0, 43.033), (0.25, 41.169), (0.5, 38.925), (1.0, 34.100)]
)
def test_centrifugal_pump_with_bypass(share, l_min):
    """P = Ps / (1 + a (kn + kb)^2): kb = 0, 10, 20, 40 gives Qn = 43.033 ... 34.100 L/min."""
    spec = centrifugal()
    assert steady_state(spec, share, 1).flow_m3_s / L_MIN_M3_S == pytest.approx(l_min, abs=2e-3)
    machine = Machine(spec.override(valve={"start_share": share}))
    machine.advance(5_000_000, Actuation(0, 0, 1), 0.0)
    assert machine.flow_l_min == pytest.approx(l_min, abs=2e-3)


def test_nozzle_flow_follows_the_shaft_of_a_centrifugal_pump():
    """Affinity laws, Q ~ n and P ~ n^2: with orifices to atmosphere the flow goes as n exactly."""
    spec = centrifugal()
    full = steady_state(spec, 0.5, 1)
    slow = steady_state(spec, 0.5, 1, Conditions(shaft_share=0.8))
    assert slow.flow_m3_s == pytest.approx(0.8 * full.flow_m3_s, rel=1e-4)
    assert slow.pressure_pa == pytest.approx(0.64 * full.pressure_pa, rel=1e-4)
    machine = Machine(spec.override(valve={"start_share": 0.5}))
    machine.shaft_share = 0.8
    machine.advance(5_000_000, Actuation(0, 0, 1), 0.0)
    assert machine.flow_m3_s == pytest.approx(slow.flow_m3_s, rel=1e-4)


def test_valve_in_line_follows_the_series_law():
    """Q = sqrt(P0 / (1/Kv^2 + 1/Kn^2)) behind a pump without droop."""
    spec = machine_spec(
        "inline_centrifugal", pump={"shutoff_bar": 4.0, "droop_pa": 1.0},
        valve={"flow_l_min": 40.0, "characteristic": "linear"}, manifold={"main_m": 0.0},
        sections={"orifice_count": [1], "orifice_flow_l_min": 20.0, "orifice_pressure_bar": 1.0,
                  "check_pa": 0.0, "hose_m": 0.0, "valve_flow_m3_s": 1.0},
        liquid={"density_kg_m3": 998.2},
    )
    for share in (0.1, 0.5, 1.0):
        expected = math.sqrt(4.0 / (1 / (40 * share) ** 2 + 1 / 20**2))
        flow = steady_state(spec, share, 1).flow_m3_s / L_MIN_M3_S
        assert flow == pytest.approx(expected, rel=1e-4)


def test_closed_valve_in_line_gives_nothing_and_relief_takes_all():
    spec = machine_spec("inline_pd")
    assert steady_state(spec, 0.0, 0b1111).flow_m3_s == 0.0
    machine = Machine(spec)
    machine.advance(2_000_000, Actuation(0, 0, 0b1111), 0.0)
    assert machine.flow_m3_s == 0.0


def settled(pump: HydraulicPump, duty: float) -> float:
    """Shaft speed after ten seconds at a duty, nominal 12 V."""
    pump.drive(Actuation(duty), 12.0, 0.0)
    for _ in range(2000):
        pump.step(1e5, 0.005)
    return pump.speed_rad_s


def test_proportional_valve_has_a_dead_band_and_hysteresis():
    """Nothing up to 25 % (27 % rising, with half of 4 % play); the branches lie 4 % apart."""
    spec = HydraulicPumpSpec()
    pump = HydraulicPump(spec)
    up = {duty: settled(pump, duty / 100) for duty in range(101)}
    down = {duty: settled(pump, duty / 100) for duty in range(100, -1, -1)}
    assert up[27] == 0.0 < up[28]
    assert down[23] == pytest.approx(0.0, abs=1e-9) and down[24] > 0.0
    assert up[100] == pytest.approx(spec.top_speed_rad_s)
    for duty in range(40, 80):
        assert down[duty] == pytest.approx(up[duty + 4], rel=1e-6)
        assert down[duty] > up[duty]


def test_coil_current_and_ripple_of_the_hydraulic_pump():
    """Full duty on 12 V and 7 ohm is 1.71 A; ripple swings the delivery but not its mean."""
    pump = HydraulicPump(HydraulicPumpSpec(ripple_share=0.3))
    pump.drive(Actuation(1.0), 12.0, 0.0)
    assert pump.current_a == pump.battery_a == pytest.approx(12 / 7)
    smooth = HydraulicPumpSpec().top_speed_rad_s * HydraulicPumpSpec().displacement_m3_rad
    flows = []
    for step in range(8000):
        pump.step(0.0, 0.0005)
        flows.append(pump.line(0.0)[0] if step >= 4000 else smooth)
    assert max(flows) - min(flows) == pytest.approx(0.3 * smooth, rel=0.05)
    assert sum(flows) / 8000 == pytest.approx(smooth, rel=1e-3)


def test_proportional_valve_lags_by_its_time_constant():
    """First-order travel, 63.2 % after the lag; linear notches show it in the speed."""
    pump = HydraulicPump(HydraulicPumpSpec(exponent=1.0, play_share=0.0, lag_s=0.12))
    pump.drive(Actuation(0.55), 12.0, 0.0)
    for _ in range(24):
        pump.step(1e5, 0.005)
    share = (0.55 - 0.25) / (0.85 - 0.25)
    expected = share * (1 - math.exp(-1)) * HydraulicPumpSpec().top_speed_rad_s
    assert pump.speed_rad_s == pytest.approx(expected, rel=1e-9)


def test_proportional_valve_follows_the_supply_voltage():
    """The coil is fed by the battery: 0.5 at 13.2 V is 0.55 at 12 V."""
    pump, other = HydraulicPump(HydraulicPumpSpec()), HydraulicPump(HydraulicPumpSpec())
    other.drive(Actuation(0.5), 13.2, 0.0)
    for _ in range(2000):
        other.step(1e5, 0.005)
    assert other.speed_rad_s == pytest.approx(settled(pump, 0.55))


@pytest.mark.parametrize(("chambers", "per_turn"), [(1, 2), (2, 2), (3, 6), (4, 4), (5, 10)])
def test_ripple_has_its_swing_its_rate_and_no_mean(chambers, per_turn):
    ripple = Ripple(0.14, chambers)
    fine = [ripple.mean(2 * math.pi / 3600) for _ in range(3600)]
    assert max(fine) - min(fine) == pytest.approx(0.14, rel=1e-3)
    assert sum(fine) / 3600 == pytest.approx(1.0, abs=1e-9)
    crossings = sum(a < 1.0 <= b for a, b in zip(fine, fine[1:] + fine[:1], strict=True))
    assert crossings == per_turn
    coarse = [ripple.mean(11.7) for _ in range(500)]  # 5 ms at 180 Hz would alias if sampled
    assert sum(coarse) / 500 == pytest.approx(1.0, abs=1e-3)


def test_ripple_reaches_the_flow_and_leaves_its_mean():
    smooth, rough = (
        Machine(machine_spec("electric_m", pump={"ripple_share": share})) for share in (0.0, 0.5)
    )
    flows: dict[Machine, list[float]] = {smooth: [], rough: []}
    for machine, trail in flows.items():
        machine.advance(3_000_000, Actuation(0.3, 0, 7), 0.0)
        for step in range(400):
            machine.advance(3_000_000 + (step + 1) * 5_000, Actuation(0.3, 0, 7), 0.0)
            trail.append(machine.flow_m3_s)
    assert max(flows[rough]) > 1.001 * max(flows[smooth])
    means = [sum(trail) / 400 for trail in flows.values()]
    assert means[1] == pytest.approx(means[0], rel=2e-3)


def test_pressure_switch_chops_the_pump_on_a_closed_manifold():
    """A relay with hysteresis: off at 2.8 bar, on again below 1.8; one substep may overshoot."""
    spec = machine_spec("electric_m", pump={"cut_out_bar": 2.8, "cut_in_bar": 1.8})
    machine = Machine(spec)
    machine.advance(200_000, Actuation(0.8, 0, 0), 0.0)
    mask, seen = 0, []
    for tick in range(400):
        mask = 1 if tick % 40 > 35 else 0  # let a little out now and then
        machine.advance(machine.time_us + 50_000, Actuation(0.8, 0, mask), 0.0)
        seen.append((machine.pressure_bar, machine.motor_current_a > 0.0))
    assert max(bar for bar, _ in seen) < 3.6 < machine.spec.manifold.relief_pa / 1e5
    assert 3 < sum(a[1] and not b[1] for a, b in zip(seen, seen[1:], strict=False)) < 30
    assert all(not runs for bar, runs in seen if bar > 2.9)


IDEAL = {
    "resistance_ohm": 0.465, "emf_v_s": 0.0539, "displacement_m3_rad": 1.857e-5 * 0.0539,
    "leak_m3_s_pa": 2.7405e-10 - 1.857e-5**2 * 0.465, "friction_nm": 4 * 0.0539,
    "breakaway_nm": 4 * 0.0539,
}


@pytest.mark.parametrize(
    ("l_min", "k", "volts", "check_bar", "duty"),
    [
        (2, 4, 12.0, 0, 0.335330), (4, 4, 12.0, 0, 0.577150), (4, 4, 13.8, 0, 0.501870),
        (6, 4, 12.0, 0, 0.880462), (4, 8, 12.0, 0, 0.484914), (4, 4, 12.0, 0.5, 0.638641),
    ],
)
def test_inverse_of_the_electric_pump(l_min, k, volts, check_bar, duty):
    """u = [(Q + kl P) / s + R (I0 + s P)] / Vb with P = Pc + (Q / k)^2."""
    spec = machine_spec(
        "electric_m", pump=IDEAL,
        manifold={"main_m": 0.0},
        sections={"orifice_count": [1], "orifice_flow_l_min": k, "orifice_pressure_bar": 1.0,
                  "check_bar": check_bar, "hose_m": 0.0, "valve_flow_m3_s": 1.0},
        supply={"open_v": volts, "resistance_ohm": 0.0},
    )
    assert inverse_actuation(spec, l_min * L_MIN_M3_S, 1) == pytest.approx(duty, abs=2e-5)


def test_curve_points_come_back():
    """A pump fitted to two points of a data sheet runs through them, and refuses nonsense."""
    pump = ElectricPumpSpec.from_curve(
        open_flow_m3_s=11.3 * L_MIN_M3_S, open_current_a=4.0, loaded_pressure_pa=2.8e5,
        loaded_flow_m3_s=6.7 * L_MIN_M3_S, loaded_current_a=9.2,
        displacement_m3_rad=1.001e-6, inertia_kg_m2=1.2e-4,
    )
    live = ElectricPump(pump)
    live.drive(Actuation(1.0), 12.0, 0.0)
    for pressure_pa, l_min, amp in ((0.0, 11.3, 4.0), (2.8e5, 6.7, 9.2)):
        for _ in range(400):
            live.step(pressure_pa, 0.005)
        flow, slope = live.line(pressure_pa)
        assert (flow - slope * pressure_pa) / L_MIN_M3_S == pytest.approx(l_min, rel=1e-6)
        assert live.current_a == pytest.approx(amp, rel=1e-6)
    with pytest.raises(ValueError, match="pump.leak_m3_s_pa"):
        ElectricPumpSpec.from_curve(1.9e-4, 4.0, 2.8e5, 1.8e-4, 9.2, 1e-6, 1e-4)
