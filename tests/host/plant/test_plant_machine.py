"""The machine as a whole: determinism, input checks, parameters, section valves."""

from __future__ import annotations

import pickle

import pytest

from host_sim.plant.catalogue import KINDS, machine_spec, machine_spec_from_table
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.parameters import rows
from host_sim.plant.reference import machines_page
from host_sim.plant.units import trade_names


def drive(machine: Machine, ticks: int, duty: float = 0.6, mask: int = 7) -> list[object]:
    trail: list[object] = []
    for tick in range(1, ticks + 1):
        machine.advance(machine.time_us + 50_000, Actuation(duty, 0, mask), 2.0 + tick % 7 * 0.1)
        trail.append((machine.pressure_pa, machine.flow_meter.count,
                      machine.speed_sensor.last_edge_us, machine.supply_mv))
    return trail


def test_same_seed_same_bits_other_seed_other_phase():
    spec = machine_spec("electric_m", ground={"noise_m_s": 0.05})
    first, second, other = (drive(Machine(spec, seed), 200) for seed in (1, 1, 2))
    assert first == second
    assert first != other


def test_start_time_only_shifts_the_clock():
    spec = machine_spec("electric_m")
    early, late = Machine(spec, 4, 0), Machine(spec, 4, 2**30 - 12_345)
    drive(early, 50)
    drive(late, 50)
    assert early.flow_meter.count == late.flow_meter.count
    assert late.flow_meter.last_edge_us - early.flow_meter.last_edge_us == 2**30 - 12_345


def test_odd_intervals_end_where_even_ones_do():
    """A remainder substep is shorter, so only the discretisation differs: under 1 % here."""
    spec = machine_spec("electric_m")
    even, odd = Machine(spec), Machine(spec)
    for tick in range(1, 41):
        even.advance(tick * 50_000, Actuation(0.6, 0, 7), 2.0)
    time_us = 0
    while time_us < 2_000_000:
        time_us = min(time_us + 7_777, 2_000_000)
        odd.advance(time_us, Actuation(0.6, 0, 7), 2.0)
    assert odd.pressure_pa == pytest.approx(even.pressure_pa, rel=1e-4)
    assert sum(odd.section_volume_ml) == pytest.approx(sum(even.section_volume_ml), rel=1e-2)


def test_distance_is_the_integral_of_the_ramps():
    machine = Machine(machine_spec("electric_m"))
    machine.advance(1_000_000, Actuation(), 4.0)
    machine.advance(3_000_000, Actuation(), 4.0)
    machine.advance(3_500_000, Actuation(), 0.0)
    assert machine.distance_m == pytest.approx(0.5 * 4 + 2 * 4 + 0.5 * 4 * 0.5)


def test_section_valves_take_their_time_and_split_by_orifices():
    machine = Machine(machine_spec("electric_m", sections={"open_ms": 500, "close_ms": 200}))
    drive(machine, 100, mask=0b011)
    first, second, third = machine.section_volume_ml
    assert third == 0.0
    # 3 orifices against 2, each group in series with the same valve: a little under 1.5
    assert 1.45 < second / first < 1.5
    before = machine.section_flow_m3_s
    machine.advance(machine.time_us + 100_000, Actuation(0.6, 0, 0b010), 2.0)
    assert 0.0 < machine.section_flow_m3_s[0] < before[0]
    machine.advance(machine.time_us + 105_000, Actuation(0.6, 0, 0b010), 2.0)
    assert machine.section_flow_m3_s[0] == 0.0


@pytest.mark.parametrize(
    ("kwargs", "word"),
    [({"speed_m_s": -1.0}, "speed_m_s"), ({"speed_m_s": float("nan")}, "speed_m_s"),
     ({"duty": 1.01}, "duty"), ({"duty": float("nan")}, "duty"), ({"now_us": 5}, "now_us")],
)
def test_bad_input_is_refused(kwargs, word):
    machine = Machine(machine_spec("electric_m"), start_us=10)
    values = {"speed_m_s": 1.0, "duty": 0.5, "now_us": 50_000} | kwargs
    with pytest.raises(ValueError, match=word):
        machine.advance(values["now_us"], Actuation(values["duty"]), values["speed_m_s"])


def test_spec_pickles_and_compares_by_value():
    spec = machine_spec("electric_m", meter={"pulses_per_l": 60})
    assert pickle.loads(pickle.dumps(spec)) == spec
    assert spec.meter.pulses_per_m3 == 60e3


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({}, "kind: is missing"),
        ({"kind": "steam"}, "kind: must be one of"),
        ({"kind": "electric_m", "pmup": {}}, "pmup: "),
        ({"kind": "electric_m", "pump": 3}, "pump: must be a table"),
        ({"kind": "electric_m", "pump": {"resistence_ohm": 1}}, "did you mean resistance_ohm"),
        ({"kind": "electric_m", "pump": {"resistance_ohm": "1"}}, "pump.resistance_ohm: must be"),
        ({"kind": "electric_m", "pump": {"resistance_ohm": True}}, "pump.resistance_ohm: must be"),
        ({"kind": "electric_m", "pump": {"resistance_ohm": 0}}, "pump.resistance_ohm: must be"),
        ({"kind": "electric_m", "pump": {"chambers": 2.5}}, "pump.chambers: must be a whole"),
        ({"kind": "electric_m", "pump": {"breakaway_nm": 0.1}}, "pump.breakaway_nm: must be at"),
        ({"kind": "electric_m", "meter": {"pulses_per_l": float("nan")}}, "meter.pulses_per_l"),
        ({"kind": "electric_m", "sections": {"orifice_count": []}}, "sections.orifice_count"),
        ({"kind": "electric_m", "sections": {"orifice_count": [1, 2.5]}}, "sections.orifice_count"),
        ({"kind": "electric_m", "sections": {"wear": [1, 1]}}, "sections.wear: 3 sections"),
        ({"kind": "electric_m", "manifold": {"relief_bar": 4, "relief_psi": 60}}, "given twice"),
        ({"kind": "electric_m", "manifold": {"relief_bar": 1e6}}, "between 0 and 500, got 1e"),
        ({"kind": "electric_m", "pump": {"cut_out_bar": 2}}, "pump.cut_in_pa: must lie between"),
        ({"kind": "electric_m", "valve": {}}, "valve: a machine of kind electric_m has no such"),
        ({"kind": "electric_m", "sections": {"orifice_count": [1] * 17}}, "1 to 16 sections"),
        ({"kind": "hydraulic", "pump": {"full_share": 0.2}}, "pump.full_share: must be above"),
        ({"kind": "inline_pd", "manifold": {"relief_pa": 0}}, "manifold.relief_pa: a valve in"),
        ({"kind": "bypass_pd", "valve": {"characteristic": "round"}}, "valve.characteristic: must"),
    ],
)
def test_each_wrong_parameter_is_named(table, message):
    with pytest.raises(ValueError, match=message):
        machine_spec_from_table(table)


def test_trade_units_are_exact():
    spec = machine_spec("electric_m", manifold={"relief_psi": 60, "compliance_ml_bar": 15},
                        meter={"pulses_per_gal": 1700, "full_scale_gal_min": 4})
    assert spec.manifold.relief_pa == pytest.approx(413685.4, abs=0.1)
    assert spec.manifold.compliance_m3_pa == pytest.approx(1.5e-10)
    assert spec.meter.pulses_per_m3 == pytest.approx(1700 / 3.785411784e-3)
    assert spec.meter.full_scale_m3_s == pytest.approx(4 * 3.785411784e-3 / 60)


def test_trade_names_fit_the_whole_unit_of_a_parameter():
    """A bar in the denominator is not a bar, a metre in pulses per metre is not a length."""
    assert set(trade_names("leak_m3_s_pa")) == {"leak_l_min_bar"}
    assert set(trade_names("flow_m3_s")) == {"flow_l_min", "flow_gal_min"}
    assert set(trade_names("noise_m_s")) == {"noise_km_h", "noise_mph"}
    for name in ("emf_v_s", "viscosity_pa_s", "density_kg_m3", "inertia_kg_m2", "pulses_per_m",
                 "open_v", "wear"):
        assert trade_names(name) == {}
    assert machine_spec("bypass_pd", pump={"leak_l_min_bar": 2.0}).pump.leak_m3_s_pa == (
        pytest.approx(2.0 * 1e-3 / 60 / 1e5)
    )


def test_every_parameter_of_every_machine_is_in_the_reference():
    page = machines_page()
    for kind in KINDS:
        assert f"`{kind}`" in page
        for table in machine_spec(kind).tables().values():
            assert all(f"| `{name}` | {row.note} |" in page
                       for name, row in rows(type(table)).items())
