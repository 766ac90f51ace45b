"""Where everything of a sheet is: bodies, pins, and the points that a wire may not touch."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from host_sim.hardware.boards import BoardData
from host_sim.hardware.circuit import RAILS, Part, Sheet
from host_sim.hardware.schematic.symbols import (
    BOXES,
    OUTWARD,
    SMALL,
    TURNS,
    Symbol,
    box,
    connector,
    module,
    turned,
)

Cell = tuple[int, int]


@dataclass(frozen=True)
class Terminal:
    """A pin of a part, or a port, on the sheet: its cell and the way that a wire leaves it."""

    owner: str
    number: str
    net: str
    cell: Cell
    side: str


def symbol_of(part: Part, board: BoardData) -> Symbol:
    """The symbol of a part, as it is turned."""
    if part.kind == "BOARD":
        return module(*board_rows(board))
    if part.kind in BOXES:
        return box(*BOXES[part.kind])
    if part.kind == "CONN":
        return connector(tuple(part.nets), part.turn)
    symbol = SMALL[part.kind]
    return turned(symbol, part.turn) if part.turn in TURNS else symbol


def board_rows(board: BoardData) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The two rows of a module's pins, as `box` wants them."""
    last = board.rows * 2
    named = {hole: f"{hole} - p" for hole in range(1, last + 1)}
    named |= {hole: f"{hole} GP{gpio} b" for gpio, hole in board.holes.items()}
    named |= {hole: f"{hole} {rail} {'s' if rail == '3V3' else 'w'}"
              for rail, holes in board.rails.items() for hole in holes}  # fmt: skip
    entries = named
    left = [entries[hole] for hole in range(1, board.rows + 1)]
    right = [entries[hole] for hole in range(board.rows + 1, last + 1)]
    return tuple(left), tuple(right if board.same_way else reversed(right))


def terminals(sheet: Sheet, board: BoardData) -> Iterator[Terminal]:
    """Every pin and every port of a sheet."""
    for part in sheet.parts:
        for number, pin in symbol_of(part, board).pins.items():
            cell = part.at[0] + int(pin.at[0]), part.at[1] + int(pin.at[1])
            yield Terminal(part.ref, number, part.nets[number], cell, pin.side)
    for port in sheet.ports:
        # the label stands on this side, so the wire leaves on the other
        x, y = OUTWARD[port.side]
        away = next(side for side, step in OUTWARD.items() if step == (-x, -y))
        yield Terminal("", "", port.net, port.at, away)


def beyond(terminal: Terminal) -> Iterator[Cell]:
    """The cells that the symbol or the label of a rail takes."""
    if terminal.side in ("up", "down"):
        yield terminal.cell[0], terminal.cell[1] + OUTWARD[terminal.side][1]
    else:
        yield from label_cells(terminal.cell, terminal.side, terminal.net)


def label_cells(cell: Cell, side: str, text: str) -> Iterator[Cell]:
    """The cells under a label, without the one where it begins."""
    x, y = OUTWARD[side]
    for count in range(1, 3 + len(text) // 2):
        yield cell[0] + count * x, cell[1] + count * y


def blocked(sheet: Sheet, board: BoardData) -> Mapping[Cell, str]:
    """The cells under bodies and pins; pins are marked with their net."""
    cells: dict[Cell, str] = {}
    for part in sheet.parts:
        left, top, right, bottom = symbol_of(part, board).body
        for x in range(math.floor(left), math.ceil(right) + 1):
            for y in range(math.floor(top), math.ceil(bottom) + 1):
                cells[part.at[0] + x, part.at[1] + y] = f"body of {part.ref}"
    for terminal in terminals(sheet, board):
        cells[terminal.cell] = f"pin on {terminal.net}"
        if terminal.net in RAILS:  # its symbol or label stands there
            for cell in beyond(terminal):
                cells.setdefault(cell, f"pin on {terminal.net}")
    for port in sheet.ports:
        for cell in label_cells(port.at, port.side, port.net):
            cells.setdefault(cell, f"label of {port.net}")
    return cells
