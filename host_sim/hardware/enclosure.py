"""The box: what stands where in it, the holes of its lid and lower wall, and the rules of both.

Millimetres, seen from the front with the lid off: x to the right and y down from the inner upper
left corner, heights from the back wall. Sizes of layouts come from the layouts; those of bought
parts are from memory and for choosing a box: measure yours before you drill.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from host_sim.hardware import stripboard, terminals
from host_sim.hardware.cables import TABLE, Cable

WIDTH, HEIGHT, DEPTH = 300.0, 250.0, 110.0  # inside: x, y, back wall to lid
EDGE = 5.0  # nothing nearer to a wall
GLAND_ROOM = 20.0  # inside the lower wall: nuts, and wires that bend
PLATE = 52.0  # height of the plate for the stripboards, on four pillars from the back wall
CLEAR = 3.0  # between what hangs from the lid and what stands below it
STRIP_DEEP, STRIP_HIGH = 40.0, 35.0  # a row of terminals with its parts
BOARD_HIGH = 25.0  # a stripboard with what stands on it


@dataclass(frozen=True)
class BoxedPart:
    """Something in the box, by its upper left corner; `floor` is what it stands on."""

    name: str
    x: float
    y: float
    width: float
    height: float
    high: float
    floor: float = 0.0

    def covers(self, x: float, y: float, room: float) -> bool:
        """Whether a round thing of this radius lies over it."""
        return (self.x - room < x < self.x + self.width + room
                and self.y - room < y < self.y + self.height + room)


@dataclass(frozen=True)
class BoxHole:
    """A hole by its middle, or a cut-out with a width; what sits in it goes in by `reach`."""

    name: str
    x: float
    y: float
    diameter: float
    reach: float = 0.0
    room: float = 0.0  # radius that a nut or body takes; 0: that of the hole
    wide: float = 0.0  # a cut-out: so wide, and as high as the diameter

    @property
    def half_width(self) -> float:
        return max(self.room, self.wide / 2, self.diameter / 2)

    @property
    def half_height(self) -> float:
        return max(self.room, self.diameter / 2)


def row(page: str, first: int, count: int, x: float, y: float) -> BoxedPart:
    """Some terminals of a page's strip, counted from 1."""
    return BoxedPart(f"{page}, terminals {first} to {first + count - 1}", x, y,
                     count * terminals.PITCH_MM, STRIP_DEEP, STRIP_HIGH)


def board(page: str, x: float, y: float) -> BoxedPart:
    """A stripboard on the plate."""
    layout = stripboard.layout_of(page)
    columns = max(hole[0] for _, hole in layout.leads()) + 2
    rows = max(max(hole[1] for _, hole in layout.leads()) + 2, len(layout.row_nets) + 1)
    return BoxedPart(page, x, y, columns * stripboard.PITCH_MM, rows * stripboard.PITCH_MM,
                     BOARD_HIGH, PLATE)


@cache
def items() -> tuple[BoxedPart, ...]:
    """Everything in the box."""
    sizes = {page: len(terminals.strip_of(page).nets) for page in terminals.PAGES}
    long = terminals.STRIP_MOST
    return (
        row("supply", 1, long, 6, 6),
        row("supply", long + 1, sizes["supply"] - long, 6, 50),
        row("section drivers", long + 1, sizes["section drivers"] - long, 90, 50),
        row("section drivers", 1, long, 6, 94),
        row("pump driver", 1, sizes["pump driver"], 6, 138),
        row("valve bridge", 1, sizes["valve bridge"], 6, 182),
        BoxedPart("Q11 to Q18, rail", 166, 184, 32, 40, 30),
        BoxedPart("fuse holders F1 to F8", 206, 6, 88, 66, 25),
        BoxedPart("relay K1 in its socket", 206, 76, 34, 34, 48),
        BoxedPart("R3 and R75, free on all sides", 244, 76, 50, 30, 20),
        BoxedPart("C20 to C22", 206, 114, 76, 30, 46),
        BoxedPart("plate of Q1, D14 and U7, upright", 286, 114, 8, 100, 100),
        board("switches and section registers", 8, 8),
        board("display and keys", 100, 8),
        board("pulse inputs", 8, 108),
        board("receiver and CAN", 74, 108),
        board("pressure input", 140, 108),
        BoxedPart("U1 in its sockets", 140, 128, 58, 30, 22, PLATE),
    )


# What sits in the lid. Depths with what is behind: contact blocks, plugs, wires that bend.
LID = (
    BoxHole("display", 100, 60, 42, 18, 0, 99),
    BoxHole("encoder", 30, 130, 7, 26, 10),
    BoxHole("back key", 80, 130, 12.2, 26, 9),
    BoxHole("lamp", 130, 130, 8.2, 26, 7),
    BoxHole("buzzer", 180, 130, 12.2, 20, 9),
    BoxHole("S1, emergency stop", 250, 45, 22.5, 56, 22),
    BoxHole("S2, start", 250, 165, 22.5, 50, 16),
)

# Thread, hole, cable from and to, radius of the nut over its corners. From memory of EN 62444
# glands of several makers.
GLANDS = (
    ("M12", 12.5, 3.0, 6.5, 9.0),
    ("M16", 16.5, 4.5, 10.0, 12.0),
    ("M20", 20.5, 6.0, 12.0, 14.5),
    ("M25", 25.5, 11.0, 17.0, 18.5),
)
# Outer diameter of a core with thin insulation by its cross-section, from memory.
CORES = {0.65: 1.9, 1.0: 2.4, 1.5: 2.7, 2.5: 3.3, 4.0: 3.9}
# Circle around n equal circles of diameter 1 (packing of circles in a circle; proven up to 13).
AROUND = {2: 2.0, 3: 2.155, 4: 2.414, 6: 3.0, 9: 3.613}
SHEATH, SCREEN = 1.6, 0.8  # what they add to the diameter
INSIDE = {"J21", "J22", "J23", "J24", "J25", "J26", "J30"}  # they do not leave the box
GAP = 3.0  # between nuts
ROWS_AT = (78.0, 32.0)  # of the glands, from the back wall
WALL_EDGE = 10.0


def outer_mm(cable: Cable) -> float:
    """Outer diameter of a cable."""
    bundle = AROUND[len(cable.colours)] * CORES[cable.mm2]
    return bundle + SHEATH + (SCREEN if cable.screened else 0.0)


def gland_for(cable: Cable) -> tuple[str, float, float, float, float]:
    """The smallest gland that clamps a cable."""
    size = outer_mm(cable)
    return next(gland for gland in GLANDS if gland[2] <= size <= gland[3])


@cache
def glands() -> tuple[BoxHole, ...]:
    """Holes of the lower wall: x as inside, y from the back wall, in rows from the left."""
    found: list[BoxHole] = []
    x, rows = WALL_EDGE, iter(ROWS_AT)
    y = next(rows)
    for cable in (cable for cable in TABLE if cable.connector not in INSIDE):
        thread, diameter, _, _, room = gland_for(cable)
        if x + 2 * room > WIDTH - WALL_EDGE:
            x, y = WALL_EDGE, next(rows)
        found.append(BoxHole(f"{cable.connector} {thread}", x + room, y, diameter, 0.0, room))
        x += 2 * room + GAP
    return tuple(found)


def findings() -> Iterator[str]:
    """What does not fit."""
    yield from of_items()
    yield from of_lid()
    yield from of_wall()


def of_items() -> Iterator[str]:
    """Inside the walls, on the plate or the floor, none through another."""
    every = items()
    for index, item in enumerate(every):
        if (item.x < EDGE or item.y < EDGE or item.x + item.width > WIDTH - EDGE
                or item.y + item.height > HEIGHT - GLAND_ROOM or item.floor + item.high > DEPTH):
            yield f"{item.name}: does not fit into the box"
        for other in every[index + 1:]:
            apart = (item.x + item.width <= other.x or other.x + other.width <= item.x
                     or item.y + item.height <= other.y or other.y + other.height <= item.y)
            over = (item.floor + item.high <= other.floor
                    or other.floor + other.high <= item.floor)
            if not apart and not over:
                yield f"{item.name}: runs into {other.name}"


def of_lid() -> Iterator[str]:
    """What hangs from the lid clears what stands below, and its neighbours."""
    for index, hole in enumerate(LID):
        for item in items():
            inside = (item.x - hole.half_width < hole.x < item.x + item.width + hole.half_width
                      and item.y - hole.half_height < hole.y
                      < item.y + item.height + hole.half_height)
            if inside and item.floor + item.high + hole.reach + CLEAR > DEPTH:
                yield f"{hole.name}: runs into {item.name}"
        for other in LID[index + 1:]:
            if (abs(hole.x - other.x) < hole.half_width + other.half_width
                    and abs(hole.y - other.y) < hole.half_height + other.half_height):
                yield f"{hole.name}: runs into {other.name}"


def of_wall() -> Iterator[str]:
    """Every cable that leaves the box has a gland that holds it; nuts do not touch."""
    holes = glands()
    for cable in TABLE:
        count = sum(hole.name.split()[0] == cable.connector for hole in holes)
        if count != (cable.connector not in INSIDE):
            yield f"{cable.connector}: has {count} glands"
    for index, hole in enumerate(holes):
        if not (hole.room <= hole.y <= DEPTH - hole.room):
            yield f"{hole.name}: is not on the wall"
        for other in holes[index + 1:]:
            if math.hypot(hole.x - other.x, hole.y - other.y) < hole.room + other.room:
                yield f"{hole.name}: its nut touches that of {other.name}"
