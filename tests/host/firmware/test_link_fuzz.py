"""A hundred thousand lines that must change nothing, in every operating state."""

import re

import pytest

from host_sim.build.interpreters import (
    CPYTHON,
    MICROPYTHON_32,
    MICROPYTHON_64,
    ScriptFailedError,
    run_on,
)

SCRIPT = "tests/vm/link_fuzz.py"
LINE = re.compile(r"lines (\d+) answered (\d+) refused (\d+) ignored (\d+)")


COUNTS = ((CPYTHON, 100_000), (MICROPYTHON_64, 20_000), (MICROPYTHON_32, 4_000))


@pytest.mark.parametrize(("interpreter", "count"), COUNTS)
def test_nothing_changes_and_nothing_raises(interpreter, count, record_property):
    output = run_on(interpreter, SCRIPT, str(count), "1").stdout.strip()
    lines, answered, refused, ignored = map(int, LINE.fullmatch(output).groups())
    assert lines == count <= answered + refused + ignored  # some break into several
    assert refused > count // 2
    assert answered and ignored
    record_property("summary", f"link fuzz on {interpreter:14} {output}, no change, no failure")


def test_a_request_that_changes_something_is_noticed():
    """The wires first: one careless request, and the same lines must fail."""
    with pytest.raises(ScriptFailedError, match="AssertionError"):
        run_on(CPYTHON, SCRIPT, "2000", "1", "sabotage")
