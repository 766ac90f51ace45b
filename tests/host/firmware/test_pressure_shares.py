"""What flow and pressure say of the outlets on the simulated machine, and what they cannot say."""

from __future__ import annotations

import random
from typing import Any

import pytest

from app.pressure import (
    PLUGGED_PERMILLE,
    PRESSURE_MAX_PA,
    UNKNOWN,
    WORN_PERMILLE,
    drop_pa,
    outlet_permille,
    pressure_pa,
)
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.machine import Actuation, Machine
from tests.support.small_int import SmallInt

SPEC = machine_spec("electric_m")
RANGE_PA = 400_000
OUTLETS = SPEC.sections.orifice_count  # the width of a section goes with them


def lived(duty: float, mask: int = 7, **faults: Any) -> Machine:
    machine = Machine(SPEC)
    for name, value in faults.items():
        setattr(machine.faults, name, value)
    while machine.time_us < 8_000_000:
        machine.advance(machine.time_us + 50_000, Actuation(duty, 0, mask), 2.0)
    return machine


NEW = lived(0.6)


def drop(machine: Machine) -> int:
    return drop_pa(round(machine.pressure_pa), round(SPEC.sections.check_pa), RANGE_PA)


def share(machine: Machine, on: int = sum(OUTLETS)) -> int:
    """Of what new outlets pass, by the true flow and pressure."""
    flow_ul_s = round(machine.flow_m3_s * 1e9)
    return outlet_permille(flow_ul_s, drop(machine), on, sum(OUTLETS),
                           round(NEW.flow_m3_s * 1e9), drop(NEW))


@pytest.mark.parametrize("duty", [0.75, 0.9])
@pytest.mark.parametrize(("factors", "least", "most"), [
    ([1.0] * 3, 990, 1010),
    ([0.88] * 3, 870, PLUGGED_PERMILLE),
    ([0.667, 1.0, 1.0], 880, 920),  # a third of one section
    ([1.12] * 3, WORN_PERMILLE, 1130),
])
def test_outlets_are_told_at_any_duty(
    duty: float, factors: list[float], least: int, most: int
) -> None:
    assert least <= share(lived(duty, orifice_factor=factors)) <= most


def test_nothing_is_said_where_the_sensor_cannot_tell_the_pressure() -> None:
    assert share(lived(0.35)) == UNKNOWN


def test_a_section_that_is_off_is_not_a_plug_and_one_that_sticks_is() -> None:
    assert share(lived(0.6, mask=3), sum(OUTLETS[:2])) == pytest.approx(1000, abs=10)
    assert share(lived(0.6, sections_shut=1)) < PLUGGED_PERMILLE


@pytest.mark.parametrize("fault", [{"filter_pa": 1.5e5}, {"supply_drop_v": 1.5}])
def test_what_is_wrong_before_the_sensor_does_not_look_like_outlets(fault: dict[str, Any]) -> None:
    assert share(lived(0.9, **fault)) == pytest.approx(1000, abs=10)


def test_one_sensor_cannot_tell_a_clogged_filter_from_a_weak_pump_at_one_duty() -> None:
    """At another it could: the filter takes by the square of the flow, the pump does not."""
    clogged, weak = (lived(0.9, filter_pa=1.5e5), lived(0.9, supply_drop_v=1.5))
    assert clogged.flow_m3_s == pytest.approx(weak.flow_m3_s, rel=0.01)
    assert clogged.pressure_pa == pytest.approx(weak.pressure_pa, rel=0.01)
    assert lived(0.35, filter_pa=1.5e5).flow_m3_s > 1.2 * lived(0.35, supply_drop_v=1.5).flow_m3_s


def test_no_reading_and_no_setting_leaves_the_small_ints() -> None:
    rng = random.Random(1)

    def drawn(low: int, high: int) -> SmallInt:
        return SmallInt(rng.choice((low, high, rng.randint(low, high))))

    for _ in range(3000):
        range_pa = drawn(1, PRESSURE_MAX_PA)
        pressure = pressure_pa(drawn(0, 65535), rng.randint(0, 2), range_pa)
        across = drop_pa(SmallInt(pressure), drawn(0, 300_000), range_pa)
        outlet_permille(drawn(0, 10_000_000), SmallInt(across), drawn(0, 160_000),
                        drawn(1, 160_000), drawn(1, 10_000_000), drawn(1000, PRESSURE_MAX_PA))
