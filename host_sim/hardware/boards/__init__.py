"""What a board is, beside its pin table: what each pin of its chip can do, where it comes out.

For each `firmware/boards/NAME_pins.py` there is one module NAME here, with a `BOARD`. A new board
needs these two files (docs/how_to/add_a_board.md); nothing else lists boards. Where NAME is not
that of a platform, the firmware for it is built with its table in place of the platform's own.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class BoardData:
    """A board with its chip, as its data sheets have it.

    `platform` is the name that MicroPython gives the chip's port, `choices` are what may be bought.
    The module has two rows of `rows` pins, numbered from the upper left down, then either from
    the top again (`same_way`) or back up. `holes` leads from the number of a GPIO to that of the
    module's pin, and holds no GPIO that is not brought out; `rails` leads from a rail ("GND",
    "3V3", "5V") to the module's pins.
    `reach` names which GPIOs a peripheral of signals.py can have; one that is missing there can
    have any. `reset_pull` gives for each GPIO that the chip reads when it starts the resistor
    that it needs ("up", "down", or "any" where the level only matters in passing); one that
    decides whether the chip starts at all must be "left alone". `restless` move by themselves
    at reset. `state_machines` is their number over all blocks of the chip's PIO, 0 for a chip
    without. Currents in mA.
    """

    title: str
    platform: str
    choices: tuple[str, str, str]
    rows: int
    same_way: bool
    holes: Mapping[int, int]
    rails: Mapping[str, tuple[int, ...]]
    reach: Mapping[str, frozenset[int]]
    pin_ma: float
    total_ma: float
    shared_pwm: tuple[tuple[int, ...], ...] = ()
    inputs_only: frozenset[int] = frozenset()
    taken: Mapping[int, str] = field(default_factory=dict)
    reset_pull: Mapping[int, str] = field(default_factory=dict)
    restless: frozenset[int] = frozenset()
    state_machines: int = 0


def names() -> list[str]:
    """Every board, in alphabetical order, the Pico shape first."""
    found = sorted(module.name for module in pkgutil.iter_modules(__path__))
    return sorted(found, key=lambda name: name != "rp2")


def board(name: str) -> BoardData:
    """The board of this name. Raises ModuleNotFoundError where there is none."""
    found: BoardData = importlib.import_module(f"{__name__}.{name}").BOARD
    return found
