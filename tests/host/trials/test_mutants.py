"""Mutants: what they are made of, that a test kills one, and a seeded part of them all."""

from __future__ import annotations

import ast
import random
import re
from pathlib import Path

import pytest

from host_sim.trials.trust.mutant_runs import SHARED, SharedTest, run_mutants
from host_sim.trials.trust.mutants import (
    MUTATED,
    MutantResult,
    every_mutant,
    is_argued,
    main,
    stale_arguments,
)
from host_sim.trials.trust.mutate import Mutant, mutants

SAMPLE = 8  # of each module
SOURCE = '''\
"""A module."""

LIMIT = 3


class Box:
    """A box."""

    def put(self, weight, *, most=200):
        """Put."""
        if weight < 0 or weight >= most:  # too much
            return -1
        self.note(max(weight, LIMIT))
        self.held += weight & 7
        return self.held
'''


def changes(source: str) -> set[tuple[str, str]]:
    return {(mutant.before, mutant.after) for mutant in mutants("box", source)}


def test_every_kind_of_fault_is_made() -> None:
    condition = "if weight < 0 or weight >= most:"
    call, add, ret = "self.note(max(weight, LIMIT))", "self.held += weight & 7", "return self.held"
    wanted = {
        ("LIMIT = 3", "LIMIT = 4"), ("LIMIT = 3", "LIMIT = 2"),
        (condition, "if weight <= 0 or weight >= most:"),
        (condition, "if weight > 0 or weight >= most:"),
        (condition, "if weight < 0 or weight > most:"),
        (condition, "if weight < 0 and weight >= most:"),
        (condition, "if False:"), (condition, "if True:"),
        ("return -1", "return 1"), ("return -1", "return -2"), ("return -1", "pass"),
        ("return -1", "return 0"),
        (call, "pass"), (call, "self.note(weight)"), (call, "self.note(LIMIT)"),
        (add, "pass"), (add, "self.held -= weight & 7"), (add, "self.held += weight | 7"),
        (add, "self.held += weight & 8"), (ret, "return 0"), (ret, "pass"),
        ("def put(self, weight, *, most=200):", "def put(self, weight, *, most=400):"),
    }
    assert wanted <= changes(SOURCE)


def test_each_differs_from_all_others_and_knows_its_place() -> None:
    every = mutants("box", SOURCE)
    assert len({ast.dump(ast.parse(mutant.source)) for mutant in every}) == len(every)
    for mutant in every:
        assert mutant.before.split()[0] in SOURCE.splitlines()[mutant.line - 1]
        assert mutant.function == ("" if mutant.before.startswith("LIMIT") else "Box.put")


def test_only_the_named_functions_are_changed() -> None:
    assert mutants("box", SOURCE, ("Box.take",)) == []
    assert all(mutant.function == "Box.put" for mutant in mutants("box", SOURCE, ("Box.put",)))


def gate_mutant(before: str, after: str) -> Mutant:
    return next(mutant for mutant in every_mutant(MUTATED) if mutant.function == "gate"
                and (mutant.before, mutant.after) == (before, after))


def test_a_test_kills_a_mutant_and_one_that_looks_elsewhere_does_not() -> None:
    shut = gate_mutant("loop.drive(decided, outputs)", "pass")
    drive = SharedTest("tests.shared.test_controller", "test_a_drive")
    other = SharedTest("tests.shared.test_intmath", "test_isqrt")
    assert run_mutants([shut, shut, shut], [drive, other], 2) == [str(drive)] * 3
    assert run_mutants([shut], [other], 1) == [""]


def test_a_mutant_that_hangs_is_killed() -> None:
    source = '"""Hangs."""\n\n\ndef isqrt(value):\n    while True:\n        pass\n'
    hanging = Mutant("rate_control.intmath", "isqrt", 4, "", "", source)
    test = SharedTest("tests.shared.test_intmath", "test_isqrt", cost_s=0.0)
    assert run_mutants([hanging], [test], 1) == [str(test)]


def test_bad_input_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--only", "rate_control.nowhere"]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1 and "--only rate_control.nowhere" in told


def test_result_counts_each_module_by_itself() -> None:
    argued = next(mutant for mutant in every_mutant(MUTATED) if is_argued(mutant))
    outputs = every_mutant({"rate_control.last_gate": ()})[:2]
    result = MutantResult([*outputs, argued], ["a test", "", ""], [])
    assert result.failed and result.unargued == outputs[1:]
    assert result.modules() == {
        argued.module: {"count": 1, "killed": 0, "argued": 1, "survived": 0},
        "rate_control.last_gate": {"count": 2, "killed": 1, "argued": 0, "survived": 1}}
    assert result.line() == "mutants  3: 1 killed, 1 argued, 1 survived"
    assert result.table().splitlines()[2].split() == ["rate_control.last_gate", "2", "1", "0", "1"]


def test_every_argument_names_a_mutant_that_there_is() -> None:
    assert stale_arguments([], []) == []


def shared_tests(module: str) -> list[SharedTest]:
    """Every shared test, those of the files that import the module and speak most of it first."""
    package, name = module.rsplit(".", 1)

    def nearness(path: Path) -> tuple[bool, float]:
        text = path.read_text()
        imported = f"from {module} import" in text or f"from {package} import {name}" in text
        return not imported, -text.count(name) / len(text)

    return [SharedTest(f"tests.shared.{path.stem}", test)
            for path in sorted(SHARED.glob("test_*.py"), key=nearness)
            for test in re.findall(r"^def (test_\w+)", path.read_text(), re.MULTILINE)]


@pytest.mark.parametrize("module", MUTATED)
def test_a_sample_of_each_module_is_killed(module: str) -> None:
    every = [mutant for mutant in every_mutant({module: MUTATED[module]})
             if not is_argued(mutant)]  # `make mutants` looks whether they are alive
    sample = random.Random(7).sample(every, min(SAMPLE, len(every)))
    for mutant in sample:
        ast.parse(mutant.source)  # what is no program at all would be killed by any test
    killers = run_mutants(sample, shared_tests(module), 1)
    survivors = [mutant for mutant, killer in zip(sample, killers, strict=True) if not killer]
    assert not survivors
