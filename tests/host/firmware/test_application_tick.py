"""The application's tick allocates nothing, so that it may run while the collector does."""

import pytest

from host_sim.build.interpreters import MICROPYTHON_32, MICROPYTHON_64, run_on


@pytest.mark.parametrize("interpreter", [MICROPYTHON_64, MICROPYTHON_32])
def test_tick_of_the_application_allocates_nothing(interpreter):
    words = run_on(interpreter, "tests/vm/heap_lock_application.py").stdout.split()
    ticks = dict(zip(words[::2], map(int, words[1::2]), strict=True))
    assert set(ticks) == {"parked", "ready", "applying", "bench", "fault", "priming"}
    assert all(count >= 20 for count in ticks.values()), ticks


@pytest.mark.parametrize("interpreter", [MICROPYTHON_64, MICROPYTHON_32])
def test_what_settings_ask_for_allocates_nothing_either(interpreter, record_property):
    """Position, zones, covered ground, plots, slip, the wheel's turn and pressure, all at work."""
    lines = run_on(interpreter, "tests/vm/heap_lock_parts.py").stdout.splitlines()
    for line, name in zip(lines, ("covered", "trial", "learning", "pressure"), strict=True):
        day, ticks, seen = line.split()
        assert day == name and int(ticks) > 400 and int(seen) > 2, line
        record_property("summary", f"heap locked on {interpreter}: {ticks} ticks, {name}")
