"""What breaks in the simulated machine does to liquid and pulses what it says."""

from __future__ import annotations

import math
from typing import Any

import pytest

from host_sim.plant.catalogue import machine_spec
from host_sim.plant.machine import Actuation, Machine

DUTY, MASK = 0.6, 7


def lived(seconds: float = 6.0, kind: str = "electric_m", machine: Machine | None = None,
          mask: int = MASK, **faults: object) -> Machine:
    """A machine that has run so long at one duty with these faults."""
    machine = machine or Machine(machine_spec(kind))
    for name, value in faults.items():
        setattr(machine.faults, name, value)
    end_us = machine.time_us + round(seconds * 1e6)
    while machine.time_us < end_us:
        machine.advance(machine.time_us + 50_000, Actuation(DUTY, 0, mask), 2.0)
    return machine


def metered_m3(machine: Machine) -> float:
    return machine.flow_meter.count / machine.spec.meter.pulses_per_m3


def test_an_empty_tank_lets_the_flow_die() -> None:
    assert lived().flow_m3_s > 1e-5
    assert lived(3.0, machine=lived(), tank_empty=True).flow_m3_s < 1e-7


def test_a_leak_takes_by_the_square_root_of_the_pressure_and_is_metered() -> None:
    leak_m3_s = 2e-3 / 60
    machine = lived(leak_m3_s=leak_m3_s)
    before, start = machine.flow_meter.count, sum(machine.section_volume_ml)
    lived(10.0, machine=machine)
    metered = (machine.flow_meter.count - before) / machine.spec.meter.pulses_per_m3
    applied = (sum(machine.section_volume_ml) - start) * 1e-6
    lost = 10.0 * leak_m3_s * math.sqrt(
        machine.pressure_bar - machine.spec.sections.check_pa / 1e5)
    droop = 0.01  # the rotor reads a little less than the flow
    assert metered == pytest.approx(applied + lost, rel=droop + 0.005)
    assert applied < metered - 0.8 * lost


@pytest.mark.parametrize(("faults", "mask", "flows"), [
    ({"sections_open": 2}, 1, [True, True, False]),
    ({"sections_shut": 1}, 7, [False, True, True]),
    ({"sections_swapped": True}, 1, [False, True, False]),
    ({"sections_swapped": True}, 6, [True, False, True]),
])
def test_section_valves_that_stick_or_are_swapped(
    faults: dict[str, Any], mask: int, flows: list[bool]
) -> None:
    found = [flow > 1e-6 for flow in lived(mask=mask, **faults).section_flow_m3_s]
    assert found == flows


def test_a_welded_output_stage_keeps_what_was_on() -> None:
    machine = lived(outputs_welded=False)
    machine.faults.outputs_welded = True
    flow = machine.flow_m3_s
    for _ in range(100):
        machine.advance(machine.time_us + 50_000, Actuation(), 2.0)
    assert machine.flow_m3_s == pytest.approx(flow, rel=0.02)


def test_a_regulating_valve_that_sticks_does_not_follow_its_motor() -> None:
    machine = Machine(machine_spec("inline_pd"))
    machine.faults.regulator_stuck = 0.7
    for _ in range(100):
        machine.advance(machine.time_us + 50_000, Actuation(0.0, -50, 15), 2.0)
    assert machine.valve_position == 0.7


@pytest.mark.parametrize("factor", [0.5, 1.25])
def test_a_meter_that_reads_wrong(factor: float) -> None:
    assert metered_m3(lived(meter_factor=factor)) == pytest.approx(
        factor * metered_m3(lived()), rel=0.01)


def test_noise_adds_its_pulses() -> None:
    clean, noisy = lived(), lived(meter_noise_hz=1e3, speed_noise_hz=1e3)
    for sensor in ("flow_meter", "speed_sensor"):
        added = getattr(noisy, sensor).count - getattr(clean, sensor).count
        assert added == pytest.approx(6000, abs=2)
