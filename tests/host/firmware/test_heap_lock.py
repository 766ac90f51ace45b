"""A tick allocates nothing: ticks on a random machine run with the heap locked.

On the 32-bit machine an int beyond 2**30 - 1 and every float is an allocation, so a run that
allocates nothing is also a run in which no value left the small ints.
"""

import pytest

from host_sim.build.interpreters import MICROPYTHON_32, MICROPYTHON_64, run_on
from rate_control.settings import build
from tests.vm.random_machine import Random, random_settings

CONFIGURATIONS = 50
TICKS = 1000
RARE_TICKS = 20  # a state or fault that showed for fewer ticks was not tried


def test_random_numbers_have_the_full_period():
    """Otherwise 'random' could mean the same few ticks again and again."""
    random = Random(0)
    steps = 1
    while random.next() != 0:
        steps += 1
    assert steps == Random.MODULUS


def test_random_settings_are_permitted_and_reach_their_limits():
    drawn = [random_settings(Random(seed)) for seed in range(200)]
    assert [build(values)[1] for values in drawn] == [[]] * len(drawn)
    assert {1, 8} < {values["section_count"] for values in drawn}


@pytest.mark.parametrize("interpreter", [MICROPYTHON_64, MICROPYTHON_32])
def test_ticks_allocate_nothing(interpreter, record_property):
    output = run_on(interpreter, "tests/vm/heap_lock.py", str(CONFIGURATIONS), str(TICKS)).stdout
    facts = dict(line.rsplit(" ", 1) for line in output.splitlines())
    assert facts.pop("lock bites") == "True", "a float under the lock went unnoticed"
    assert facts.pop("bytes") == "0"
    rare = {name: ticks for name, ticks in facts.items() if int(ticks) < RARE_TICKS}
    assert not rare, "the random machine does not try enough"
    record_property(
        "summary",
        f"heap locked on {interpreter}: {CONFIGURATIONS * TICKS} ticks "
        f"of {CONFIGURATIONS} configurations allocated 0 bytes",
    )
