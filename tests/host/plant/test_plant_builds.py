"""Random builds and faults."""

from __future__ import annotations

import pickle
from random import Random

import pytest

from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.parameters import Within, WithinLog, rows
from host_sim.plant.spread import vary

REFERENCE = machine_spec("electric_m")


def run(machine: Machine, ticks: int, duty: float = 0.6, mask: int = 7) -> None:
    for _ in range(ticks):
        machine.advance(machine.time_us + 50_000, Actuation(duty, 0, mask), 2.0)


@pytest.mark.parametrize("kind", KINDS)
def test_builds_stay_within_their_ranges_and_run(kind):
    spec, rng = machine_spec(kind), Random(1)
    for _ in range(50):
        build = vary(spec, rng)
        for table in build.tables().values():
            for name, row in rows(type(table)).items():
                value = getattr(table, name)
                if isinstance(row.spread, Within | WithinLog):
                    for item in value if row.many else (value,):
                        assert row.spread.low <= item <= row.spread.high, name
        assert len(build.sections.wear) == spec.sections.count
        machine = Machine(build, 3)
        run(machine, 4)
        assert machine.pressure_pa >= 0.0


def test_builds_are_repeatable_and_differ():
    first, second, third = (vary(REFERENCE, Random(seed)) for seed in (7, 7, 8))
    assert first == second != third
    assert first.pump != REFERENCE.pump
    assert pickle.loads(pickle.dumps(first)) == first


def test_what_is_absent_stays_absent():
    build = vary(machine_spec("inline_centrifugal", manifold={"main_m": 0}), Random(2))
    assert build.manifold.relief_pa == build.manifold.main_m == build.manifold.accumulator_m3 == 0
    assert build.meter.pulses_per_m3 == machine_spec("inline_centrifugal").meter.pulses_per_m3


def test_stalled_meter_stops_counting_and_recovers():
    machine = Machine(REFERENCE)
    run(machine, 40)
    machine.faults.meter_stalled = True
    count, out_ml = machine.flow_meter.count, sum(machine.section_volume_ml)
    run(machine, 40)
    assert machine.flow_meter.count == count
    assert sum(machine.section_volume_ml) > out_ml + 100
    machine.faults.meter_stalled = False
    run(machine, 40)
    assert machine.flow_meter.count > count


def test_lost_speed_signal_leaves_the_truth_alone():
    machine = Machine(REFERENCE)
    run(machine, 40)
    machine.faults.speed_lost = True
    count = machine.speed_sensor.count
    run(machine, 40)
    assert machine.speed_sensor.count == count
    assert machine.distance_m == pytest.approx(2 * 4.0 - 0.05)


def test_blocked_section_passes_nothing_and_worn_ones_more():
    machine = Machine(REFERENCE)
    run(machine, 100)
    before = machine.section_flow_m3_s
    machine.faults.orifice_factor[0] = 0.0
    run(machine, 100)
    blocked = machine.section_flow_m3_s
    assert blocked[0] == 0.0 and blocked[1] > 1.2 * before[1]
    machine.faults.orifice_factor[:] = [1.15, 1.0, 1.0]
    run(machine, 100)
    worn = machine.section_flow_m3_s
    # outer sections are alike, so their ratio is the wear but for what hose and valve share
    assert 1.12 < worn[0] / worn[2] < 1.15


def test_trapped_air_slows_the_machine():
    def rise_bar(air_m3: float) -> float:
        machine = Machine(REFERENCE)
        run(machine, 100, duty=0.5)
        machine.faults.air_m3 = air_m3
        start = machine.pressure_bar
        run(machine, 4, duty=0.9)
        return machine.pressure_bar - start

    # 300 mL at 0.8 bar gauge add about 90 mL/bar to 15
    assert rise_bar(300e-6) < 0.4 * rise_bar(0.0)


def test_low_battery_and_cranking_weaken_the_pump():
    machine = Machine(REFERENCE)
    run(machine, 200)
    flow, supply_mv = machine.flow_l_min, machine.supply_mv
    machine.faults.supply_drop_v = 2.0
    run(machine, 200)
    assert supply_mv - 2_000 < machine.supply_mv < supply_mv - 1_900
    assert machine.flow_l_min < 0.85 * flow
    machine.faults.cranking = True
    run(machine, 1)
    assert machine.supply_mv < 8_000
    machine.faults.cranking, machine.faults.supply_drop_v = False, 0.0
    run(machine, 200)
    assert machine.flow_l_min == pytest.approx(flow, rel=1e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_dead_pump_gives_nothing(kind):
    """Not a drop more once the stored pressure has bled down to the check valves."""
    spec = machine_spec(kind)
    if spec.valve:
        spec = spec.override(valve={"start_share": 0.4})
    mask = (1 << spec.sections.count) - 1
    machine = Machine(spec)
    run(machine, 100, mask=mask)
    assert machine.flow_m3_s > 0.0
    machine.faults.pump_dead = True
    run(machine, 200, mask=mask)
    assert machine.flow_m3_s < 1e-7
    assert machine.pressure_pa <= spec.sections.check_pa * 1.001
