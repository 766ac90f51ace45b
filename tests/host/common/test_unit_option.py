"""`--units` has the same names, those of a machine file, wherever it can be given."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import pytest

from host_sim.__main__ import build_parser, verb_names
from host_sim.common.units import SYSTEMS


def parsers(parser: argparse.ArgumentParser, name: str) -> Iterator[tuple[str, argparse.Action]]:
    """Every option of a parser and of those below it."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, below in action.choices.items():
                yield from parsers(below, f"{name} {word}")
        else:
            yield name, action


def test_every_verb_names_the_systems_of_units_alike() -> None:
    found = {name: action for verb in verb_names()
             for name, action in parsers(build_parser([verb]), "twin")
             if "--units" in action.option_strings}
    assert len(found) > 10
    assert {name: action.choices for name, action in found.items()} == dict.fromkeys(
        found, SYSTEMS)
    assert [name for name, action in found.items() if "si" in str(action.help).split()] == []


@pytest.mark.parametrize("system", ["si", "SI", "imperial"])
def test_another_name_is_refused_in_one_line(
        system: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        build_parser(["drive"]).parse_args(["drive", "--units", system])
    assert ended.value.code == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "metric" in error and "us" in error
