"""The one circuit table: parts, what each of their pins is connected to, where they are drawn.

Drawings, netlist, parts list, simulation and layout all come from it. Positions count in units of
GRID_MM on the sheet, from its upper left corner.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

GRID_MM = 2.54
RAILS = (
    "GND", "3V3", "V5", "VSYS", "V_PROT", "V_SENSOR", "V_GATE", "V_LOAD", "V_PUMP", "V_VALVE",
    "V_BRIDGE",
)  # fmt: skip
NOT_CONNECTED = ""

Pin = tuple[str, str]  # reference of the part, number of its pin
Nets = dict[str, frozenset[Pin]]


@dataclass(frozen=True)
class Part:
    """One part: `nets` leads from the number of each pin to a net, "" for none.

    `kind` is its symbol, `item` its line in the parts list, `turn` how it is drawn: for parts of
    two pins the side on which pin 1 is. The pins of a `labelled` part have labels, never wires.
    """

    ref: str
    kind: str
    value: str
    item: str
    nets: Mapping[str, str]
    at: tuple[int, int]
    turn: str = ""
    labelled: bool = False


@dataclass(frozen=True)
class Port:
    """A place on a sheet where a net goes on elsewhere; `side` is where its label stands."""

    net: str
    at: tuple[int, int]
    side: str


@dataclass(frozen=True)
class Note:
    """Words on a sheet, with their upper left corner."""

    text: str
    at: tuple[int, int]


@dataclass(frozen=True)
class Sheet:
    """One page of the drawing."""

    name: str
    parts: tuple[Part, ...]
    ports: tuple[Port, ...] = ()
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Circuit:
    """The controller around one board."""

    board: str
    sheets: tuple[Sheet, ...]

    @property
    def parts(self) -> dict[str, Part]:
        """Every part by its reference."""
        return {part.ref: part for sheet in self.sheets for part in sheet.parts}

    @property
    def nets(self) -> Nets:
        """Every net with its pins."""
        return nets_of(self.parts)


def nets_of(parts: Mapping[str, Part]) -> Nets:
    """Which pins are connected, by the name of the net."""
    found: defaultdict[str, set[Pin]] = defaultdict(set)
    for part in parts.values():
        for pin, net in part.nets.items():
            if net != NOT_CONNECTED:
                found[net].add((part.ref, pin))
    return {net: frozenset(pins) for net, pins in found.items()}
