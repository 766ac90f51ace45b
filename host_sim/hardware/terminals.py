"""Terminal strips of the pages that carry amperes: which lead goes under which screw.

A page is one strip of screw terminals, cut where the mounting plate ends. Every net has as many
neighbouring terminals as its leads need, joined by bridges; a part with two pins is screwed between
the terminals of its nets, a part with more by short wires. Terminals are put in an order in which
the leads stay short. What a layout joins is compared with the circuit, lead by lead.
"""

from __future__ import annotations

import math
import random
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache

from host_sim import REPO_ROOT
from host_sim.hardware.circuit import Part, Pin, nets_of
from host_sim.hardware.sheets import circuit

BOARD = "rp2"
PAGES = ("supply", "pump driver", "section drivers", "valve bridge")
DIRECTORY = REPO_ROOT / "hardware" / "terminals"
LEADS_MOST = 3  # under a screw for 4 mm2; common practice, no source
PITCH_MM = 8.0
STRIP_MOST = 24  # terminals in a row; the plate is 200 mm wide
REACH = 5  # terminals that a part's own leads bridge, 40 mm; beyond, a wire lengthens one
TRIES = 3000
ELSEWHERE = "to the other pages"


@dataclass
class Strip:
    """`nets` names the net of each terminal, `leads` what is under it."""

    nets: list[str] = field(default_factory=list)
    leads: list[list[str]] = field(default_factory=list)

    @property
    def bridges(self) -> list[int]:
        """Terminals that are joined to the next."""
        return [index for index in range(len(self.nets) - 1)
                if self.nets[index] == self.nets[index + 1]]

    def place(self, lead: str) -> int:
        """The terminal of a lead."""
        return next(index for index, leads in enumerate(self.leads) if lead in leads)


def page_parts(page: str) -> dict[str, Part]:
    """The parts of a page."""
    sheet = next(sheet for sheet in circuit(BOARD).sheets if sheet.name == page)
    return {part.ref: part for part in sheet.parts}


def lead_of(pin: Pin) -> str:
    """A pin as the table names it."""
    return f"{pin[0]} pin {pin[1]}"


def shared_nets(page: str) -> set[str]:
    """Nets that leave a page."""
    own = set(nets_of(page_parts(page)))
    return own & {net for sheet in circuit(BOARD).sheets if sheet.name != page
                  for part in sheet.parts for net in part.nets.values()}


@cache
def strip_of(page: str) -> Strip:
    """The strip of a page; the same every time."""
    parts = page_parts(page)
    nets = {net: sorted(lead_of(pin) for pin in pins)
            + ([f"{net} {ELSEWHERE}"] if net in shared_nets(page) else [])
            for net, pins in nets_of(parts).items()}
    strip = Strip()
    for net in ordered(nets, parts):
        count = math.ceil(len(nets[net]) / LEADS_MOST)
        strip.nets += [net] * count
        strip.leads += [[] for _ in range(count)]
    for net, leads in nets.items():
        fill(strip, net, leads, parts)
    return strip


def fill(strip: Strip, net: str, leads: list[str], parts: Mapping[str, Part]) -> None:
    """Put the leads of a net under its screws in the order in which their other ends stand."""
    first = strip.nets.index(net)

    def other_end(lead: str) -> tuple[float, str]:
        ref, _, pin = lead.partition(" pin ")
        others = [strip.nets.index(other) for number, other in parts[ref].nets.items()
                  if other and number != pin] if ref in parts else []
        return (sum(others) / len(others) if others else first), lead

    for number, lead in enumerate(sorted(leads, key=other_end)):
        strip.leads[first + number // LEADS_MOST].append(lead)


def ordered(nets: Mapping[str, list[str]], parts: Mapping[str, Part]) -> list[str]:
    """The nets in an order in which the leads of parts stay short."""
    order = sorted(nets, key=lambda net: (len(nets[net]), net))
    sizes = {net: math.ceil(len(leads) / LEADS_MOST) for net, leads in nets.items()}
    pairs = [tuple(sorted({net for net in part.nets.values() if net})) for part in parts.values()]

    def cost() -> float:
        middle, at = {}, 0.0
        for net in order:
            middle[net] = at + sizes[net] / 2
            at += sizes[net]
        return sum(max(middle[net] for net in pair) - min(middle[net] for net in pair)
                   for pair in pairs if len(pair) > 1)

    chance = random.Random(len(order))
    best = cost()
    for _ in range(TRIES):
        one, other = chance.randrange(len(order)), chance.randrange(len(order))
        order[one], order[other] = order[other], order[one]
        tried = cost()
        if tried <= best:
            best = tried
        else:
            order[one], order[other] = order[other], order[one]
    return order


def findings(strip: Strip, parts: Mapping[str, Part], shared: set[str]) -> Iterator[str]:
    """How a strip differs from the circuit, and screws with too much under them."""
    joined: dict[int, set[str]] = defaultdict(set)
    group = 0
    for index, leads in enumerate(strip.leads):
        if index and index - 1 not in strip.bridges:
            group += 1
        joined[group] |= set(leads)
        if not 1 <= len(leads) <= LEADS_MOST:
            yield f"terminal {index + 1}: {len(leads)} leads"
    every = [lead for leads in strip.leads for lead in leads]
    for lead in sorted({lead for lead in every if every.count(lead) > 1}):
        yield f"{lead}: is under two screws"
    for net, pins in nets_of(parts).items():
        wanted = {lead_of(pin) for pin in pins}
        if net in shared:
            wanted.add(f"{net} {ELSEWHERE}")
        touching = [leads for leads in joined.values() if leads & wanted]
        if len(touching) != 1 or touching[0] != wanted:
            yield f"{net}: does not join what the circuit joins"
