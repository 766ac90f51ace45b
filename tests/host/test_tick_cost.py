"""What a tick may cost, in turns of a reference loop on the 32-bit machine: a count, no time."""

from host_sim.tick_cost import STATES, instructions, tick_costs

# What it costs now, and a little more; lower it when the tick gets cheaper. On an RP2040 at
# 125 MHz a turn takes 8 us (measured on the emulated chip). A whole tick of 3 ms, the board's own
# share taken off, would leave the controller some 280 turns.
TURNS_MAX = 480


def test_tick_with_eight_sections_costs_no_more_than_it_may(record_property):
    costs = tick_costs()
    for cost in costs:
        record_property(
            "summary",
            f"a tick, eight sections, {cost.state:9} {cost.instructions:7,} instructions, "
            f"{cost.turns:5.1f} turns of the reference loop",
        )
    assert [cost.state for cost in costs] == list(STATES)
    assert all(cost.turns <= TURNS_MAX for cost in costs)


def test_count_is_the_same_in_every_run():
    assert instructions("parked", 50) == instructions("parked", 50)
