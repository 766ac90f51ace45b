"""A record of telemetry allocates nothing, so neither link nor card call for the collector."""

import pytest

from host_sim.build.interpreters import MICROPYTHON_32, MICROPYTHON_64, run_on


@pytest.mark.parametrize("interpreter", [MICROPYTHON_64, MICROPYTHON_32])
def test_telemetry_allocates_nothing(interpreter):
    output = run_on(interpreter, "tests/vm/telemetry_heap.py").stdout.strip()
    assert output == "records 200 bytes 0"


@pytest.mark.parametrize("interpreter", [MICROPYTHON_64, MICROPYTHON_32])
def test_a_sector_of_the_trace_allocates_nothing(interpreter):
    output = run_on(interpreter, "tests/vm/card_heap.py").stdout.strip()
    assert output == "sectors 50 bytes 0"
