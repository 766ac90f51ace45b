"""A machine sized in the page: the fields of `size` as lines, the answer of `size` as text."""

from __future__ import annotations

import io
from typing import Any

from host_sim.common.errors import InputError, plain
from host_sim.sizing.fields import FIELDS

WIDTH = 108  # characters of a line of the answer
EXAMPLE = """\
rate = 80 L/ha, 95 L/ha
speed = 6 to 12 km/h
width = 3.5 m
sections = 2, 3, 2
outlet = 2.0 L/min at 3 bar
outlet_pressure = 0.1 to 4 bar
pump = M
meter = 450 pulses/L
"""
_BY_NAME = {field.name: field for field in FIELDS}


def size_fields() -> list[tuple[str, str, str]]:
    """Name, example and meaning of everything that a line may say."""
    return [(field.name, field.example,
             field.help.replace("; give it again for each rate wanted", "; several with commas")
             + (f" (otherwise {field.default})" if field.default else ""))
            for field in FIELDS]


def sized(text: str, us: bool) -> str:
    """The answer. Raises InputError naming the line, or the field that is missing or wrong."""
    from rich.console import Console

    from host_sim.sizing.answer import solve
    from host_sim.sizing.request import read_request
    from host_sim.sizing.table import print_answer

    options = _options(text)
    try:
        answer = solve(read_request(options, us, None))
    except InputError as error:
        raise InputError(*(problem.removeprefix("--") for problem in error.args)) from None
    told = io.StringIO()
    print_answer(answer, Console(file=told, width=WIDTH, highlight=False))
    return "\n".join(line.rstrip() for line in told.getvalue().splitlines())


def _options(text: str) -> dict[str, list[str] | None]:
    options: dict[str, list[str] | None] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        name, equals, value = (part.strip() for part in line.partition("="))
        if not line.strip():
            continue
        if not equals or name not in _BY_NAME:
            raise InputError(f"line {number}: must be NAME = VALUE, with the name of a field, is "
                             f"'{plain(line.strip())}'")
        many = _BY_NAME[name].many
        options[name] = [part.strip() for part in value.split(",")] if many else [value]
    return options


def size_told(text: str, us: bool) -> dict[str, Any]:
    """What a page is told: the answer, or why there is none."""
    try:
        return {"size": {"answer": sized(text, us)}}
    except InputError as error:
        return {"size": {"why": error.args[0]}}
