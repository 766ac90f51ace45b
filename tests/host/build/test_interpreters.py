"""The shared tests give the same result on CPython, 64-bit and 32-bit MicroPython."""

import ast
from pathlib import Path

import pytest

from host_sim.build.interpreters import (
    CPYTHON,
    INTERPRETERS,
    MICROPYTHON_32,
    MICROPYTHON_64,
    ScriptFailedError,
    run_on,
)

SHARED = Path(__file__).parents[2] / "shared"
RUNNER = "tests/shared/run.py"


def declared_tests():
    """How many shared tests the source files declare, counted without running anything."""
    return sum(
        isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
        for path in SHARED.glob("test_*.py")
        for node in ast.parse(path.read_text()).body
    )


@pytest.mark.parametrize(
    ("interpreter", "identity"),
    [
        (CPYTHON, "cpython 64"),
        (MICROPYTHON_64, "micropython 64"),
        (MICROPYTHON_32, "micropython 32"),
    ],
)
def test_interpreter_is_what_its_name_says(interpreter, identity):
    assert run_on(interpreter, "tests/vm/identity.py").stdout.strip() == identity


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_runner_reports_a_failing_test(interpreter):
    """The wires first: a failure on any interpreter must reach this side."""
    with pytest.raises(ScriptFailedError) as failed:
        run_on(interpreter, RUNNER, "tests.vm.sample_tests")
    text = str(failed.value)
    assert "FAILED tests.vm.sample_tests.test_two_fails" in text
    assert "AssertionError: sums differ" in text
    assert "2 passed, 1 failed" in text


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_every_shared_test_passes(interpreter, record_property):
    closing_line = run_on(interpreter, RUNNER).stdout.splitlines()[-1]
    assert closing_line == f"{declared_tests()} passed, 0 failed"
    record_property("summary", f"shared tests on {interpreter:14} {closing_line}")
