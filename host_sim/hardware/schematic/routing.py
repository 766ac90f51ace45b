"""Wires of a sheet: the shortest way along the grid that touches nothing else.

A wire may cross one of another net, at a right angle and where neither bends or branches; KiCad
joins only what meets at an end. Nets that cannot be joined within LONGEST get labels instead.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from host_sim.hardware.boards import BoardData
from host_sim.hardware.circuit import NOT_CONNECTED, RAILS, Sheet
from host_sim.hardware.schematic.placing import Cell, Terminal, blocked, terminals

LONGEST = 44
SHEET_CELLS = (110, 78)
BEND, CROSSING = 3, 6
STEPS = ((1, 0), (0, 1), (-1, 0), (0, -1))


@dataclass
class Wiring:
    """What joins the terminals of a sheet: for each net its groups of joined terminals, and steps.

    A step leads from a cell to the next one.
    """

    groups: dict[str, list[list[Terminal]]] = field(default_factory=dict)
    steps: dict[str, set[tuple[Cell, Cell]]] = field(default_factory=lambda: defaultdict(set))

    def cells(self, *nets: str) -> dict[Cell, set[Cell]]:
        """Every cell of these nets' wires with its neighbours along them."""
        found: dict[Cell, set[Cell]] = defaultdict(set)
        for net in nets:
            for one, other in self.steps[net]:
                found[one].add(other)
                found[other].add(one)
        return found


def route(sheet: Sheet, board: BoardData) -> Wiring:
    """Join what belongs together, nets with the shortest ways first."""
    cells = blocked(sheet, board)
    by_net: dict[str, list[Terminal]] = defaultdict(list)
    for terminal in terminals(sheet, board):
        if terminal.net != NOT_CONNECTED and terminal.net not in RAILS:
            by_net[terminal.net].append(terminal)
    labelled = {part.ref for part in sheet.parts if part.labelled}
    wiring = Wiring()
    for net in sorted(by_net, key=lambda name: (spread(by_net[name]), name)):
        groups = [[end] for end in by_net[net] if end.owner not in labelled]
        while len(groups) > 1 and join_two(net, groups, cells, wiring):
            pass
        wiring.groups[net] = groups + [[end] for end in by_net[net] if end.owner in labelled]
    return wiring


def spread(some: list[Terminal]) -> int:
    """How far apart terminals are."""
    xs, ys = zip(*(terminal.cell for terminal in some), strict=True)
    return int(max(xs) - min(xs) + max(ys) - min(ys))


def join_two(
    net: str, groups: list[list[Terminal]], cells: Mapping[Cell, str], wiring: Wiring
) -> bool:
    """Join the first group to the nearest of the others; whether any was within reach."""
    for index, group in enumerate(groups):
        start = reach_of(group, net, wiring)
        others = {cell: number for number, other in enumerate(groups) if number != index
                  for cell in reach_of(other, net, wiring)}  # fmt: skip
        way = shortest(net, start, set(others), cells, wiring)
        if way:
            wiring.steps[net].update(zip(way, way[1:], strict=False))
            group += groups.pop(others[way[-1]])
            return True
    return False


def reach_of(group: list[Terminal], net: str, wiring: Wiring) -> set[Cell]:
    """The cells of a group: its terminals, and the wires that lead on from them."""
    along = wiring.cells(net)
    found = {terminal.cell for terminal in group}
    open_ends = list(found)
    while open_ends:
        for neighbour in along.get(open_ends.pop(), ()):
            if neighbour not in found:
                found.add(neighbour)
                open_ends.append(neighbour)
    return found


def shortest(
    net: str, start: set[Cell], goals: set[Cell], cells: Mapping[Cell, str], wiring: Wiring
) -> list[Cell]:
    """The cheapest way from any start to any goal, or nothing."""
    foreign = wiring.cells(*(other for other in wiring.steps if other != net))
    xs, ys = zip(*goals, strict=True)
    frame = min(xs), min(ys), max(xs), max(ys)
    queue = [(left_to(cell, frame), cell, (0, 0)) for cell in sorted(start)]
    came: dict[tuple[Cell, Cell], tuple[Cell, Cell] | None] = {
        (cell, (0, 0)): None for cell in start}  # fmt: skip
    best: dict[tuple[Cell, Cell], int] = {(cell, (0, 0)): 0 for cell in start}
    while queue:
        total, cell, before = heapq.heappop(queue)
        if cell in goals:
            return traced(came, (cell, before))
        cost = best[cell, before]
        if total > cost + left_to(cell, frame):
            continue
        for step in STEPS:
            there = cell[0] + step[0], cell[1] + step[1]
            extra = cost_of(net, cell, there, step, before, cells, foreign)
            if extra is None:
                continue
            key = there, step
            total = cost + extra + left_to(there, frame)
            if total <= LONGEST and cost + extra < best.get(key, LONGEST + 1):
                best[key] = cost + extra
                came[key] = cell, before
                heapq.heappush(queue, (total, there, step))
    return []


def left_to(cell: Cell, frame: tuple[int, int, int, int]) -> int:
    """How far it is at the least from a cell to the frame around all goals."""
    x, y = cell
    return max(frame[0] - x, 0, x - frame[2]) + max(frame[1] - y, 0, y - frame[3])


def cost_of(
    net: str, cell: Cell, there: Cell, step: Cell, before: Cell,
    cells: Mapping[Cell, str], foreign: Mapping[Cell, set[Cell]],
) -> int | None:  # fmt: skip
    """What a step costs, None where it must not be taken."""
    if step == (-before[0], -before[1]) and before != (0, 0):
        return None
    if not (2 <= there[0] <= SHEET_CELLS[0] and 2 <= there[1] <= SHEET_CELLS[1]):
        return None
    if cells.get(there, f"pin on {net}") != f"pin on {net}":
        return None
    cost = 1
    if cell in foreign and step != before:  # a bend, or an end, on another wire
        return None
    if there in foreign:
        across = {(there[0] + step[1], there[1] + step[0]),
                  (there[0] - step[1], there[1] - step[0])}  # fmt: skip
        if foreign[there] != across:
            return None
        cost += CROSSING
    return cost + (BEND if before not in ((0, 0), step) else 0)


def traced(
    came: Mapping[tuple[Cell, Cell], tuple[Cell, Cell] | None], end: tuple[Cell, Cell]
) -> list[Cell]:
    """The way that led to an end, from its start on."""
    way = [end[0]]
    at = came[end]
    while at:
        way.append(at[0])
        at = came[at]
    return way[::-1]
