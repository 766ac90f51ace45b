"""Everything that a page can ask of the twin, in one table. Of a real board it can ask nothing.

A message is a JSON list, the name first: `["section", 2, false]`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from host_sim.panel.bench_hands import PROCEDURES
from host_sim.panel.live_twin import TANK_L
from host_sim.panel.scenes import AT_MAX_S, SCENES
from host_sim.panel.trouble import OUTLETS, TROUBLES
from host_sim.twin.disturbances import FIELDS
from rate_control.settings import HIGH, LOW, row
from rate_control.units import MAX_SECTIONS

LONGEST = 500  # characters of a message
SPEED_MAX_M_S = 12.0
FACTOR_MIN, FACTOR_MAX = 0.25, 20.0
SPACING_MIN_M, SPACING_MAX_M = 0.3, 50.0


class BadCommand(Exception):
    """A message that is refused; the text says why."""


@dataclass(frozen=True)
class Argument:
    """What an argument must be, in words and as a test."""

    words: str
    fits: Callable[[Any], bool]


def _number(low: float, high: float, kinds: type | tuple[type, ...] = (int, float),
            unit: str = "") -> Argument:
    def fits(value: Any) -> bool:
        is_number = isinstance(value, kinds) and not isinstance(value, bool)
        return is_number and math.isfinite(value) and low <= value <= high

    words = f"a {'whole ' if kinds is int else ''}number, {low:.7g} to {high:.7g} {unit}".rstrip()
    return Argument(words, fits)


def _one_of(*choices: Any) -> Argument:
    words = ", ".join(str(choice) for choice in choices)
    return Argument(f"one of {words}", lambda value: type(value) in (str, int, float)
                    and value in choices)


# What the page's fields take, in the firmware's units: it tells it in those that people see.
LIMITS = {
    "rate_ml_ha": (row("rate_ml_ha")[LOW], row("rate_ml_ha")[HIGH]),
    "speed_mm_s": (0, round(SPEED_MAX_M_S * 1e3)),
    "width_mm": (round(SPACING_MIN_M * 1e3), round(SPACING_MAX_M * 1e3)),
}

FLAG = Argument("true or false", lambda value: isinstance(value, bool))
TEXT = Argument("a text", lambda value: isinstance(value, str))
SECTION = _number(0, MAX_SECTIONS - 1, int)
_RATE = row("rate_ml_ha")

COMMANDS: dict[str, tuple[Argument, ...]] = {
    "master": (FLAG,),
    "implement": (FLAG,),
    "section": (SECTION, FLAG),
    "throttle": (_number(0.0, 1.0),),
    "nudge": (_number(-1.0, 1.0),),
    "speed": (_number(0.0, SPEED_MAX_M_S, unit="m/s"),),
    "recorded": (),
    "spacing": (_number(SPACING_MIN_M, SPACING_MAX_M, unit="m"),),  # of passes
    "factor": (_number(FACTOR_MIN, FACTOR_MAX),),
    "tank": (_number(0.0, TANK_L, unit="L"),),
    "trouble": (_one_of(*(trouble.name for trouble in TROUBLES)), FLAG),
    "field": (_one_of(*FIELDS),),
    "outlets": (SECTION, _one_of(*(factor for factor, _ in OUTLETS))),
    "hang": (),
    "key": (_one_of("left", "right", "push", "back"),),
    "rate": (_number(_RATE[LOW], _RATE[HIGH], int, "mL/ha"),),
    "units": (FLAG,),  # of the display: US customary
    "restart": (),
    "scene": (_one_of(*(scene.name for scene in SCENES)), _number(0.0, AT_MAX_S, unit="s")),
    "save": (FLAG,),  # in US customary units
    "size": (TEXT, FLAG),  # lines NAME = VALUE; in US customary units
    # a procedure, its parameters NAME = VALUE with commas between; in US customary units
    "learn": (_one_of(*PROCEDURES), TEXT, FLAG),
    "keep": (FLAG,),  # what was learned; false leaves it
    "what_if": (TEXT, FLAG),  # NAME=VALUE of a setting; in US customary units
}


def parse(message: str | bytes) -> tuple[str, list[Any]]:
    """The name and the checked arguments of a message. Raises BadCommand."""
    if not isinstance(message, str) or len(message) > LONGEST:
        raise BadCommand(f"a message is a text of at most {LONGEST} characters")
    try:
        name, *arguments = json.loads(message)
    except (ValueError, TypeError, RecursionError):
        raise BadCommand("a message is a JSON list, the name first") from None
    wanted = COMMANDS.get(name) if isinstance(name, str) else None
    if wanted is None:
        raise BadCommand("there is no such command")
    if len(arguments) != len(wanted):
        raise BadCommand(f"{name}: takes {len(wanted)} arguments, got {len(arguments)}")
    for value, argument in zip(arguments, wanted, strict=True):
        if not argument.fits(value):
            raise BadCommand(f"{name}: must be {argument.words}")
    return name, arguments
