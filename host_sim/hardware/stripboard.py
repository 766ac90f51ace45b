"""Stripboard layouts of the pages that carry little current, checked hole by hole.

Strips run along the rows. Chips, networks and terminals stand on the left, each pin on a piece of
strip of its own; every net has a row on the right, rails have several, and a part with two pins
stands upright between the rows of its nets. Wire links lead from the pieces to the rows. Rows are
put in an order in which the parts' leads stay short.

Pump, sections, bridge and supply carry amperes that no strip bears: they are wired from terminal
to terminal with the wire that cables.py gives.
"""

from __future__ import annotations

import math
import random
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.hardware.circuit import RAILS, Nets, Part, Pin, nets_of
from host_sim.hardware.sheets import circuit

BOARD = "rp2"
PAGES = ("pulse inputs", "switches and section registers", "display and keys", "receiver and CAN",
         "pressure input")  # fmt: skip
DIRECTORY = REPO_ROOT / "hardware" / "stripboard"
PITCH_MM = 2.54
ROWS = 39  # of a board of 160 x 100 mm
COLUMNS = 62
ZONE = 10  # columns for a chip with room for its links
LEADS = 9  # rows that a part may bridge at the most
USUAL = 3  # rows that it bridges best: 7.6 mm
TRIES = 4000
DOUBLE = {"74HC14", "74HC165", "74HCT595", "MCP2562", "MCP2515", "RN_EACH"}

Hole = tuple[int, int]  # column, row


@dataclass
class Layout:
    """What is in which hole."""

    pins: dict[Pin, Hole] = field(default_factory=dict)
    links: list[tuple[Hole, Hole]] = field(default_factory=list)
    ports: dict[str, Hole] = field(default_factory=dict)
    cuts: set[Hole] = field(default_factory=set)
    bodies: list[tuple[str, Hole, Hole]] = field(default_factory=list)
    boxes: list[tuple[str, Hole, Hole]] = field(default_factory=list)
    row_nets: list[str] = field(default_factory=list)

    def leads(self) -> Iterator[tuple[str, Hole]]:
        """Every lead with its hole."""
        for (ref, pin), hole in self.pins.items():
            yield f"{ref} pin {pin}", hole
        for number, (start, end) in enumerate(self.links, 1):
            yield f"link {number}", start
            yield f"link {number}", end
        for net, hole in self.ports.items():
            yield f"wire {net}", hole

    def piece(self, hole: Hole) -> tuple[int, int]:
        """The piece of strip that a hole is on: its row, and the cuts to its left."""
        column, row = hole
        return row, sum(cut[1] == row and cut[0] < column for cut in self.cuts)


def page_parts(page: str) -> dict[str, Part]:
    """The parts of a page."""
    sheet = next(sheet for sheet in circuit(BOARD).sheets if sheet.name == page)
    return {part.ref: part for part in sheet.parts}


def joined(layout: Layout) -> list[set[str]]:
    """Leads that copper and links join, group by group."""
    parent: dict[tuple[int, int], tuple[int, int]] = {}

    def root(piece: tuple[int, int]) -> tuple[int, int]:
        parent.setdefault(piece, piece)
        while parent[piece] != piece:
            piece = parent[piece]
        return piece

    for start, end in layout.links:
        parent[root(layout.piece(start))] = root(layout.piece(end))
    groups = defaultdict(set)
    for name, hole in layout.leads():
        groups[root(layout.piece(hole))].add(name)
    return list(groups.values())


def findings(layout: Layout, parts: Mapping[str, Part], shared: set[str]) -> Iterator[str]:
    """How a layout differs from the circuit: holes used twice, leads on a cut, nets."""
    seen: dict[Hole, str] = {}
    for name, hole in layout.leads():
        if hole in seen:
            yield f"{name}: its hole {hole} is that of {seen[hole]}"
        seen[hole] = name
        if hole in layout.cuts:
            yield f"{name}: its hole {hole} is a cut"
        if not (0 <= hole[0] < COLUMNS and 0 <= hole[1] < ROWS):
            yield f"{name}: its hole {hole} is not on the board"
    nets = nets_of(parts)
    groups = [{name for name in group if not name.startswith("link")} for group in joined(layout)]
    wanted = {net: {f"{ref} pin {pin}" for ref, pin in pins} | (
        {f"wire {net}"} if net in shared else set()) for net, pins in nets.items()}  # fmt: skip
    for net, leads in wanted.items():
        touching = [group for group in groups if group & leads]
        if len(touching) != 1:
            yield f"{net}: is in {len(touching)} pieces"
        elif touching[0] != leads:
            yield f"{net}: is joined to {', '.join(sorted(touching[0] - leads)) or 'too little'}"
    for ref, start, end in layout.bodies:
        if abs(start[1] - end[1]) > LEADS:
            yield f"{ref}: bridges {abs(start[1] - end[1])} rows"


def shared_nets(page: str) -> set[str]:
    """Nets of a page that leave it."""
    elsewhere = {net for sheet in circuit(BOARD).sheets if sheet.name != page
                 for part in sheet.parts for net in part.nets.values()}  # fmt: skip
    return (set(nets_of(page_parts(page))) & elsewhere) - {""}


# --- making one ---------------------------------------------------------------------------------


@cache
def layout_of(page: str) -> Layout:
    """The layout of a page; the same every time."""
    parts = page_parts(page)
    small = {ref: part for ref, part in parts.items()
             if len(part.nets) == 2 and part.kind != "CONN"}  # fmt: skip
    blocks = [part for ref, part in parts.items() if ref not in small]
    layout = Layout()
    pieces, zones = place_blocks(layout, blocks)
    direct = direct_nets(parts, small) - shared_nets(page)
    nets = {net: pins for net, pins in nets_of(parts).items() if net not in direct}
    layout.row_nets = ordered_rows(nets, small)
    taken = Occupied(layout, zones * ZONE)
    for ref in sorted(small, key=lambda ref: (strain(small[ref], layout.row_nets), ref)):
        taken.stand(small[ref])
    for net, holes in pieces:
        if net not in direct:
            taken.link(net, holes)
    for net in sorted(direct):
        one, other = (holes for name, holes in pieces if name == net)
        layout.links.append((one[0], other[0]))
    for net in dict.fromkeys(layout.row_nets):
        taken.join_copies(net)
        if net in shared_nets(page):
            taken.port(net)
    return layout


def direct_nets(parts: Mapping[str, Part], small: Mapping[str, Part]) -> set[str]:
    """Nets between two pins on the left: a link joins them, no row is needed."""
    return {net for net, pins in nets_of(parts).items()
            if len(pins) == 2 and not any(ref in small for ref, _ in pins)}  # fmt: skip


def place_blocks(layout: Layout, blocks: list[Part]) -> tuple[list[tuple[str, list[Hole]]], int]:
    """Chips and rows of pins on the left; gives net and free holes of each pin's piece."""
    pieces: list[tuple[str, list[Hole]]] = []
    zone = row = 0
    for part in sorted(blocks, key=lambda part: (-len(part.nets), part.ref)):
        count = len(part.nets)
        step = 2 if part.kind == "CONN" else 1  # terminals have twice the pitch of the strips
        height = count // 2 if part.kind in DOUBLE else count * step
        if row + height > ROWS:
            zone, row = zone + 1, 0
        x = zone * ZONE
        for index in range(height // step):
            here = row + index * step
            layout.cuts.add((x + 9, here))
            sides: tuple[tuple[str, int, tuple[int, ...]], ...]
            if part.kind in DOUBLE:
                layout.cuts.add((x + 4, here))
                sides = ((str(index + 1), 3, (2, 1, 0)), (str(count - index), 6, (8, 7, 5)))
            else:
                sides = ((numbers(part)[index], 3, (5, 6, 2)),)
            for pin, column, free in sides:
                layout.pins[part.ref, pin] = x + column, here
                if part.nets[pin]:
                    pieces.append((part.nets[pin], [(x + offset, here) for offset in free]))
        right = x + 6 if part.kind in DOUBLE else x + 3
        layout.boxes.append((part.ref, (x + 3, row), (right, row + height - step)))
        row += height
    return pieces, zone + 1


def numbers(part: Part) -> list[str]:
    """The pins of a part in their order along its row."""
    return sorted(part.nets, key=int)


def ordered_rows(nets: Nets, small: Mapping[str, Part]) -> list[str]:
    """A net for each row, rails several times, in an order that keeps leads short."""
    ends: defaultdict[str, int] = defaultdict(int)
    for part in small.values():
        for net in part.nets.values():
            ends[net] += 1
    rows = [net for net in sorted(nets)
            for _ in range(max(1, math.ceil(ends[net] / 3)) if net in RAILS else 1)]  # fmt: skip
    chance = random.Random(len(rows))
    cost = total(rows, small)
    for _ in range(TRIES):
        one, other = chance.randrange(len(rows)), chance.randrange(len(rows))
        rows[one], rows[other] = rows[other], rows[one]
        tried = total(rows, small)
        if tried <= cost:
            cost = tried
        else:
            rows[one], rows[other] = rows[other], rows[one]
    return rows


def total(rows: list[str], small: Mapping[str, Part]) -> int:
    """What the order of rows costs: how far each part's leads are from the usual ones."""
    places = defaultdict(list)
    for row, net in enumerate(rows):
        places[net].append(row)
    return sum(min((abs(one - other) - USUAL) ** 2 for one in places[part.nets["1"]]
                   for other in places[part.nets["2"]]) for part in small.values())  # fmt: skip


def strain(part: Part, rows: list[str]) -> int:
    """How far a part's leads are from the usual ones at the best."""
    return total(rows, {part.ref: part})


class Occupied:
    """The rows of nets on the right, and which of their holes are free."""

    def __init__(self, layout: Layout, first: int) -> None:
        self._layout = layout
        self._first = first
        self._used: set[Hole] = set()
        self._rows: dict[str, list[int]] = defaultdict(list)
        for row, net in enumerate(layout.row_nets):
            self._rows[net].append(row)

    def stand(self, part: Part) -> None:
        """Put a part with two pins upright between the nearest rows of its nets."""
        ways = [(abs(abs(one - other) - USUAL), one, other) for one in self._rows[part.nets["1"]]
                for other in self._rows[part.nets["2"]]]  # fmt: skip
        _, one, other = min(ways)
        low, high = sorted((one, other))
        column = self._first
        while any((column, row) in self._used for row in range(low, high + 1)):
            column += 2  # a part is thicker than the holes are apart; links go between
        self._used |= {(column, row) for row in range(low, high + 1)}
        self._layout.pins[part.ref, "1"] = column, one
        self._layout.pins[part.ref, "2"] = column, other
        self._layout.bodies.append((part.ref, (column, one), (column, other)))

    def link(self, net: str, holes: list[Hole]) -> None:
        """Lead a piece of strip on the left to a row of its net."""
        start = next(hole for hole in holes if hole not in self._used)
        self._used.add(start)
        row = min(self._rows[net], key=lambda row: abs(row - start[1]))
        self._layout.links.append((start, self._free(row)))

    def join_copies(self, net: str) -> None:
        """Join the rows of a net that has several."""
        rows = self._rows[net]
        for one, other in zip(rows, rows[1:], strict=False):
            self._layout.links.append((self._free(one), self._free(other)))

    def port(self, net: str) -> None:
        """A hole for the wire to the other boards."""
        self._layout.ports[net] = self._free(self._rows[net][0])

    def _free(self, row: int) -> Hole:
        column = self._first + 1
        while (column, row) in self._used:
            column += 2
        self._used.add((column, row))
        return column, row


# --- drawing ------------------------------------------------------------------------------------

HEAD_MM = 17.0  # above the board: title and a ruler to check the print with
RULER_MM = 50
COLOURS = {"strip": "#e8c9a0", "link": "#1f5fbf", "cut": "#c00000", "body": "#555555"}


def drawing(page: str) -> str:
    """A layout seen from the side of the parts, in its true size."""
    layout = layout_of(page)
    columns = max(hole[0] for _, hole in layout.leads()) + 2
    rows = max(max(hole[1] for _, hole in layout.leads()) + 2, len(layout.row_nets) + 1)
    width, height = max(columns * PITCH_MM + 32, 130), rows * PITCH_MM + HEAD_MM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {height:.2f}" font-family="sans-serif" font-size="1.3">',
        f'<rect width="{width:.2f}" height="{height:.2f}" fill="white"/>',
        words(1, 4, f"{page}: stripboard from the side of the parts, strips along the rows", 2.6),
        words(1, 7.5, "Not built. Cuts are red, links blue, wires to other boards have names. "
                      f"The line is {RULER_MM} mm: check your print.", 1.9),
        stroke((1, 9.5), (1 + RULER_MM, 9.5), "black", 0.4),
    ]  # fmt: skip
    parts += [strip(row, columns) for row in range(rows - 1)]
    parts += [dot(column, row) for row in range(rows - 1) for column in range(columns - 1)]
    parts += [cross(cut) for cut in sorted(layout.cuts)]
    for start, end in layout.links:
        parts.append(stroke(at(start), at(end), COLOURS["link"], 0.35))
    for ref, one, other in layout.bodies:
        parts.append(stroke(at(one), at(other), COLOURS["body"], 0.9))
        x, y = at(one)
        parts.append(words(x + 0.4, (y + at(other)[1]) / 2 + 0.4, ref))
    for ref, one, other in layout.boxes:
        (left, top), (right, bottom) = at(one), at(other)
        parts.append(f'<rect x="{left - 1:.2f}" y="{top - 1:.2f}" width="{right - left + 2:.2f}" '
                     f'height="{bottom - top + 2:.2f}" fill="none" stroke="black" '
                     'stroke-width="0.3"/>')
        parts.append(words(left + 0.2, top - 1.3, ref))
    parts += [words(at(hole)[0] + 0.5, at(hole)[1] - 0.5, mark, 1.0)
              for mark, hole in marks(layout, page_parts(page))]  # fmt: skip
    parts += [words(at((column, 0))[0] - 0.7, HEAD_MM - 1.7, str(column + 1), 1.1)
              for column in range(0, columns - 1, 2)]  # fmt: skip
    parts += [words(0.1, at((0, row))[1] + 0.4, str(row + 1), 1.1) for row in range(rows - 1)]
    for row, net in enumerate(layout.row_nets):
        parts.append(words(columns * PITCH_MM + 1, at((0, row))[1] + 0.5, net))
    for net, hole in sorted(layout.ports.items()):
        x, y = at(hole)
        parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.8" fill="none" '
                     f'stroke="{COLOURS["link"]}" stroke-width="0.3"/>')
        parts.append(words(x + 0.9, y + 1.2, net, 1.1))
    return "\n".join([*parts, "</svg>", ""])


def marks(layout: Layout, parts: Mapping[str, Part]) -> Iterator[tuple[str, Hole]]:
    """What stands beside a hole: pins of chips and terminals, K of a diode, + of a capacitor."""
    for (ref, pin), hole in sorted(layout.pins.items()):
        part = parts[ref]
        if len(part.nets) > 2 or part.kind == "CONN":
            yield pin, hole
        elif pin == "1" and part.kind in ("D", "DS", "DZ", "DT", "LED"):
            yield "K", hole
        elif pin == "1" and part.kind == "CP":
            yield "+", hole


def at(hole: Hole) -> tuple[float, float]:
    """The middle of a hole in millimetres."""
    return (hole[0] + 1) * PITCH_MM, (hole[1] + 1) * PITCH_MM + HEAD_MM - PITCH_MM


def words(x: float, y: float, text: str, size: float = 1.3) -> str:
    """A text that begins at a place."""
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}">{text}</text>'


def stroke(start: tuple[float, float], end: tuple[float, float], colour: str, width: float) -> str:
    """A line."""
    return (f'<line x1="{start[0]:.2f}" y1="{start[1]:.2f}" x2="{end[0]:.2f}" y2="{end[1]:.2f}" '
            f'stroke="{colour}" stroke-width="{width}"/>')


def strip(row: int, columns: int) -> str:
    """A strip of copper, on the far side."""
    y = at((0, row))[1]
    return (f'<rect x="{PITCH_MM / 2:.2f}" y="{y - 1:.2f}" width="{(columns - 1) * PITCH_MM:.2f}" '
            f'height="2" fill="{COLOURS["strip"]}"/>')


def dot(column: int, row: int) -> str:
    """A hole."""
    x, y = at((column, row))
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.45" fill="white"/>'


def cross(hole: Hole) -> str:
    """A cut."""
    x, y = at(hole)
    return (f'<path d="M{x - 0.9:.2f} {y - 0.9:.2f} l1.8 1.8 m0 -1.8 l-1.8 1.8" '
            f'stroke="{COLOURS["cut"]}" stroke-width="0.4"/>')


PAGE_HEAD = """\
# Stripboards

> **Not built.** Made by a script from the circuit table and checked against it, hole by hole, but
> nobody has soldered one. A bridge between two strips can open a valve: after soldering ring out
> every pair of neighbouring strips, then go through [first power](first_power.md).

Made by `python -m host_sim hardware draw`; do not edit. Each drawing is in its true size, seen from
the side of the parts; print it without scaling and check the line of 50 mm. Holes are counted
from the upper left corner, column then row. Cut the strips at the red crosses (from the copper
side the picture is mirrored), set the links first, then the rest from low to high. Wires with
names lead to the same name on the other boards or to the [board's](schematic/controller_rp2.pdf)
pin of that name. Capacitors and resistors of other makes may need their leads bent.

Supply, pump driver, section drivers and valve bridge are **not** for stripboard: their currents
burn it. They are screwed to [terminal strips](terminals.md), with ground led to one point.
"""


def page_text() -> str:
    """hardware/stripboard.md."""
    text = PAGE_HEAD
    for page in PAGES:
        layout = layout_of(page)
        text += f"\n## {page.capitalize()}\n\n![{page}](stripboard/{file_name(page)})\n\n"
        text += f"Cuts: {', '.join(map(shown, sorted(layout.cuts, key=by_row)))}.\n\n"
        links = ", ".join(f"{shown(start)} to {shown(end)}" for start, end in layout.links)
        text += f"Links: {links}.\n"
    return text


def by_row(hole: Hole) -> Hole:
    """Row by row."""
    return hole[1], hole[0]


def shown(hole: Hole) -> str:
    """A hole as the drawing counts it."""
    return f"{hole[0] + 1}/{hole[1] + 1}"


def file_name(page: str) -> str:
    """The drawing of a page."""
    return f"{page.replace(' ', '_')}.svg"


def texts() -> dict[Path, str]:
    """The drawing of each page, and the page that leads to them."""
    return {DIRECTORY.parent / "stripboard.md": page_text(),
            **{DIRECTORY / file_name(page): drawing(page) for page in PAGES}}  # fmt: skip
