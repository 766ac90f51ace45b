"""What a tick may cost, in turns of a reference loop on the 32-bit machine: a count, no time."""

import pytest

from host_sim.build.firmware import built_in_passing
from host_sim.build.tick_cost import ACTUATORS, PUMP, STATES, TickMeter

# What the dearest tick costs now, and a little more; lower it when a tick gets cheaper. What whole
# ticks take on an RP2040 is in docs/reference/emulated_chip.md.
TURNS_MAX = {PUMP: 319, "inline valve": 540, "bypass valve": 554}


@pytest.fixture(scope="module")
def firmware():
    with built_in_passing() as folder:
        yield folder


@pytest.mark.parametrize("actuator", ACTUATORS)
def test_tick_with_eight_sections_costs_no_more_than_it_may(actuator, firmware, record_property):
    meter = TickMeter(firmware)
    for state in STATES:
        cost = meter.cost(actuator, state)
        record_property(
            "summary",
            f"a tick, eight sections, {actuator}, {state:9} {cost.dearest:7,} instructions at "
            f"most, {cost.turns:5.1f} turns of the reference loop",
        )
        assert cost.turns <= TURNS_MAX[actuator], state


def test_count_is_the_same_in_every_run(firmware):
    assert TickMeter(firmware).reference == TickMeter(firmware).reference
