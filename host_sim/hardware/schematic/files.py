"""Writes a circuit as KiCad files: a page for each sheet, and one that shows the board.

What identifies things in the files is made from their names, so that the same table gives the
same files, byte for byte.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass

from host_sim.hardware.boards import BoardData
from host_sim.hardware.circuit import GRID_MM, NOT_CONNECTED, RAILS, Circuit, Part, Sheet
from host_sim.hardware.schematic.placing import Cell, Terminal, symbol_of, terminals
from host_sim.hardware.schematic.routing import Wiring, route
from host_sim.hardware.schematic.symbols import OUTWARD, Symbol, power
from host_sim.hardware.simulation.models import LIBRARY, library_text, sim_fields

VERSION = 20250114  # of the file format of KiCad 9
SPACE = uuid.UUID("5b0d2f4e-6a53-4c0e-9c8e-2f6f9a1f1c11")  # ours alone; any other would do
NOT_BUILT = "Not built: nobody has built or measured this circuit yet."
CAUTION = "Read the cautions in hardware/README.md before you wire anything."
ANGLES = {"right": 0, "up": 90, "left": 180, "down": 270}
FONT = "(effects (font (size 1.27 1.27)){})"
LETTER = 0.45  # of the grid, wide
HIDDEN = "(effects (font (size 1.27 1.27)) (hide yes))"


def mm(units: float) -> str:
    """A place on the grid in millimetres, as the files have it."""
    return f"{units * GRID_MM:.4f}".rstrip("0").rstrip(".")


def at(x: float, y: float, angle: int = 0) -> str:
    """A place and an angle."""
    return f"(at {mm(x)} {mm(y)} {angle})"


def quoted(text: str) -> str:
    """A text between quotes."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def identity(*names: str) -> str:
    """An identifier that follows from names."""
    return str(uuid.uuid5(SPACE, "/".join(names)))


def justified(side: str) -> str:
    """The words after a font that set a text on this side of its place."""
    return f" (justify {side})" if side else ""


# --- symbols in the library of a file -----------------------------------------------------------


def symbol_text(name: str, symbol: Symbol, is_power: bool) -> str:
    """A symbol as the head of a file defines it; there y points up."""
    drawn = [
        f"(polyline (pts {' '.join(f'(xy {mm(x)} {mm(-y)})' for x, y in line)}) "
        "(stroke (width 0.2) (type default)) (fill (type none)))"
        for line in symbol.lines
    ]
    drawn += [
        f"(circle (center {mm(x)} {mm(-y)}) (radius {mm(radius)}) "
        "(stroke (width 0.15) (type default)) (fill (type none)))"
        for (x, y), radius in symbol.circles
    ]
    if symbol.filled:
        (left, top), (right, bottom) = symbol.filled
        drawn.append(
            f"(rectangle (start {mm(left)} {mm(-top)}) (end {mm(right)} {mm(-bottom)}) "
            "(stroke (width 0.25) (type default)) (fill (type background)))")
    pins = [pin_text(symbol, number, is_power) for number in symbol.pins]
    names = "" if symbol.filled and any(pin.name for pin in symbol.pins.values()) else " (hide yes)"
    numbers = "" if symbol.filled else " (pin_numbers (hide yes))"
    kind = " (power)" if is_power else ""
    return "\n".join([
        f"(symbol {quoted('own:' + name)}{kind}{numbers} (pin_names (offset 0.5){names}) "
        f"(exclude_from_sim no) (in_bom {'no' if is_power else 'yes'}) (on_board yes)",
        f'(property "Reference" {quoted("#PWR" if is_power else "U")} (at 0 0 0) {HIDDEN})',
        f'(property "Value" {quoted(name)} (at 0 0 0) {HIDDEN})',
        f'(property "Footprint" "" (at 0 0 0) {HIDDEN})',
        f'(property "Datasheet" "" (at 0 0 0) {HIDDEN})',
        f"(symbol {quoted(name + '_0_1')}", *drawn, ")",
        f"(symbol {quoted(name + '_1_1')}", *pins, "))",
    ])  # fmt: skip


def pin_text(symbol: Symbol, number: str, is_power: bool) -> str:
    """A pin: its place is where a wire begins, its angle leads to the body."""
    pin = symbol.pins[number]
    inward = {"left": "right", "right": "left", "up": "down", "down": "up"}[pin.side]
    length = abs(pin.at[0]) - abs(symbol.filled[1][0]) if symbol.filled else 0
    return (f"(pin {pin.type} line {at(pin.at[0], -pin.at[1], ANGLES[inward])} "
            f"(length {mm(max(length, 0))}) (name {quoted(pin.name)} {FONT.format('')}) "
            f"(number {quoted(number)} {FONT.format('')}))")


# --- one page -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Page:
    """A sheet with the way to it from the first page, for the identifiers."""

    project: str
    sheet: Sheet
    path: str
    number: int
    of: int

    def own(self, *names: str) -> str:
        """An identifier on this page."""
        return identity(self.project, self.sheet.name, *names)


def symbol_name(part: Part) -> str:
    """The name of a part's symbol in the file."""
    if part.kind == "CONN":
        return f"CONN_{len(part.nets)}_{part.turn}"
    return f"{part.kind}_{part.turn}" if part.turn else part.kind


def part_text(page: Page, part: Part, symbol: Symbol) -> str:
    """One part on a page, with its reference and value beside it."""
    left, top, right, bottom = symbol.body
    x, y = part.at
    if symbol.filled:
        places: list[tuple[float, float, str]] = [
            (x, y + top - 1.1, ""), (x, y + bottom + 0.8, "")]  # fmt: skip
    elif right - left > bottom - top and symbol.value_below:
        places = [(x, y - 1.0, ""), (x, y + 1.1, "")]
    else:
        places = [(x + right + 0.3, y - 0.5, "left"), (x + right + 0.3, y + 0.5, "left")]
    fields = [("Reference", part.ref, places[0]), ("Value", part.value, places[1])]
    lines = [
        f"(symbol (lib_id {quoted('own:' + symbol_name(part))}) {at(x, y)} (unit 1) "
        "(exclude_from_sim no) (in_bom yes) (on_board yes) (dnp no)",
        f"(uuid {quoted(page.own(part.ref))})",
    ]
    for name, text, (tx, ty, side) in fields:
        lines.append(f"(property {quoted(name)} {quoted(text)} {at(tx, ty)} "
                     f"{FONT.format(justified(side))})")
    lines.append(f'(property "Footprint" "" {at(x, y)} {HIDDEN})')
    lines.append(f'(property "Item" {quoted(part.item)} {at(x, y)} {HIDDEN})')
    lines += [f"(property {quoted(name)} {quoted(text)} {at(x, y)} {HIDDEN})"
              for name, text in sim_fields(part).items()]  # fmt: skip
    lines += [f"(pin {quoted(number)} (uuid {quoted(page.own(part.ref, number))}))"
              for number in symbol.pins]  # fmt: skip
    lines.append(instance(page, part.ref))
    return "\n".join(lines)


def instance(page: Page, reference: str) -> str:
    """The end of a symbol: its reference on the way from the first page."""
    return (f"(instances (project {quoted(page.project)} (path {quoted(page.path)} "
            f"(reference {quoted(reference)}) (unit 1)))))")


def rail_text(page: Page, net: str, cell: Cell, upward: bool, index: int) -> str:
    """The symbol of a rail at a place."""
    reference = f"#PWR{page.number:02d}{index:03d}"
    x, y = cell
    lift = -1.0 if upward else 1.2
    shown = HIDDEN if net == "GND" else FONT.format("")
    name = f"{net}_{'up' if upward else 'down'}"
    return "\n".join([
        f"(symbol (lib_id {quoted('own:' + name)}) {at(x, y)} (unit 1) "
        "(exclude_from_sim no) (in_bom no) (on_board yes) (dnp no)",
        f"(uuid {quoted(page.own(reference))})",
        f'(property "Reference" {quoted(reference)} {at(x, y)} {HIDDEN})',
        f'(property "Value" {quoted(net)} {at(x, y + lift)} {shown})',
        f'(pin "1" (uuid {quoted(page.own(reference, "1"))}))',
        instance(page, reference),
    ])  # fmt: skip


def wire_text(page: Page, start: Cell, end: Cell) -> str:
    """A straight wire."""
    return (f"(wire (pts (xy {mm(start[0])} {mm(start[1])}) (xy {mm(end[0])} {mm(end[1])})) "
            "(stroke (width 0) (type default)) "
            f"(uuid {quoted(page.own('wire', str(start), str(end)))}))")


def label_text(page: Page, net: str, cell: Cell, side: str, is_global: bool) -> str:
    """A label whose words stand on this side of its place."""
    kind, shape = ("global_label", "(shape passive) ") if is_global else ("label", "")
    outward = {"left": "right", "down": "right"}.get(side, "left")
    justify = outward if is_global else f"{outward} bottom"
    return (f"({kind} {quoted(net)} {shape}{at(*cell, ANGLES[side])} "
            f"{FONT.format(justified(justify))} "
            f"(uuid {quoted(page.own('label', net, str(cell)))}))")


def straight(wiring: Wiring, net: str) -> Iterator[tuple[Cell, Cell]]:
    """The wires of a net, each as long as it runs straight without a branch."""
    along = wiring.cells(net)

    def passes(cell: Cell) -> bool:
        near = sorted(along[cell])
        return len(near) == 2 and (near[0][0] == near[1][0] or near[0][1] == near[1][1])

    ends = sorted(cell for cell in along if not passes(cell))
    for cell in ends:
        for neighbour in sorted(along[cell]):
            before, here = cell, neighbour
            while passes(here):
                before, here = here, next(iter(along[here] - {before}))
            if cell < here:
                yield cell, here


def page_text(page: Page, board: BoardData, shared: set[str], extra: str = "") -> str:
    """A whole file; `shared` are the nets that other pages have too."""
    sheet = page.sheet
    symbols: dict[str, tuple[Symbol, bool]] = {}
    body: list[str] = []
    for part in sheet.parts:
        symbol = symbol_of(part, board)
        symbols[symbol_name(part)] = symbol, False
        body.append(part_text(page, part, symbol))
    ends = list(terminals(sheet, board))
    for index, end in enumerate(end for end in ends if end.net in RAILS):
        if end.side in ("left", "right"):
            body.append(label_text(page, end.net, end.cell, end.side, True))
            continue
        upward = end.side == "up"
        symbols[f"{end.net}_{'up' if upward else 'down'}"] = power(end.net, upward), True
        body.append(rail_text(page, end.net, end.cell, upward, index))
    body += [f"(no_connect (at {mm(end.cell[0])} {mm(end.cell[1])}) "
             f"(uuid {quoted(page.own('open', end.owner, end.number))}))"
             for end in ends if end.net == NOT_CONNECTED]  # fmt: skip
    wiring = route(sheet, board)
    for net in sorted(wiring.groups):
        body += net_text(page, net, wiring, shared)
    body += [f"(text {quoted(note.text)} (exclude_from_sim no) {at(*note.at)} "
             f"(effects (font (size 1.5 1.5)) (justify left top)) "
             f"(uuid {quoted(page.own('note', note.text))}))" for note in sheet.notes]  # fmt: skip
    library = [symbol_text(name, *symbols[name]) for name in sorted(symbols)]
    return "\n".join([
        f'(kicad_sch (version {VERSION}) (generator "host_sim") (generator_version "1")',
        f"(uuid {quoted(page.own())})",
        '(paper "A4")',
        title_block(page, board),
        "(lib_symbols", *library, ")",
        *body,
        extra,
        "(embedded_fonts no))",
        "",
    ])  # fmt: skip


def title_block(page: Page, board: BoardData) -> str:
    """What stands in the corner of a page: above all that nobody has built it."""
    return (f"(title_block (title {quoted(page.sheet.name)}) (date \"\") (rev \"A\") "
            f"(company {quoted(board.title)}) (comment 1 {quoted(NOT_BUILT)}) "
            f"(comment 2 {quoted(CAUTION)}))")


def net_text(page: Page, net: str, wiring: Wiring, shared: set[str]) -> Iterator[str]:
    """Wires, junctions and labels of one net."""
    for start, end in straight(wiring, net):
        yield wire_text(page, start, end)
    for cell, near in sorted(wiring.cells(net).items()):
        here = sum(end.cell == cell and bool(end.owner)
                   for group in wiring.groups[net] for end in group)  # fmt: skip
        if len(near) + here > 2:
            yield (f"(junction (at {mm(cell[0])} {mm(cell[1])}) (diameter 0) (color 0 0 0 0) "
                   f"(uuid {quoted(page.own('junction', str(cell)))}))")
    groups = wiring.groups[net]
    ports = [end for group in groups for end in group if not end.owner]
    for port in ports:
        side = next(name for name, step in OUTWARD.items()
                    if step == tuple(-value for value in OUTWARD[port.side]))  # fmt: skip
        yield label_text(page, net, port.cell, side, True)
    for group in groups:
        if any(not end.owner for end in group):
            continue
        if len(groups) > 1 or net in shared:
            first = group[0]
            yield label_text(page, net, first.cell, first.side, True)
        else:
            yield name_on_wire(page, net, wiring, group)


def name_on_wire(page: Page, net: str, wiring: Wiring, group: list[Terminal]) -> str:
    """The name of a net that stays on its page, about in the middle of its longest level wire.

    Not where it crosses another wire: a label there would join the two.
    """
    others = wiring.cells(*(other for other in wiring.groups if other != net))
    level = [(end[0] - start[0], start) for start, end in straight(wiring, net)
             if start[1] == end[1]]  # fmt: skip
    if not level:
        return label_text(page, net, group[0].cell, "right", False)
    length, start = max(level)
    lead = max(0, int((length - LETTER * len(net)) / 2))
    free = [x for x in range(length + 1) if (start[0] + x, start[1]) not in others]
    nearest = min(free, key=lambda x: abs(x - lead))
    return label_text(page, net, (start[0] + nearest, start[1]), "right", False)


def flags(page: Page, nets: set[str]) -> tuple[str, str]:
    """Tell KiCad's rule check that these rails are fed: symbol and places."""
    pin = (f'(pin power_out line (at 0 0 90) (length 0) (name "fed" {FONT.format("")}) '
           f'(number "1" {FONT.format("")}))')
    library = ('(symbol "own:FED" (power) (pin_numbers (hide yes)) '
               '(pin_names (offset 0) (hide yes)) '
               '(exclude_from_sim no) (in_bom no) (on_board yes) '
               f'(property "Reference" "#FLG" (at 0 0 0) {HIDDEN}) '
               f'(property "Value" "FED" (at 0 0 0) {HIDDEN}) '
               f'(symbol "FED_0_0" {pin}) (symbol "FED_0_1" (polyline (pts (xy 0 0) (xy 0 1.27) '
               f'(xy -0.7 1.9) (xy 0 2.54) (xy 0.7 1.9) (xy 0 1.27)) (stroke (width 0.15) '
               f'(type default)) (fill (type none)))))')
    body = []
    for index, net in enumerate(sorted(nets), 1):
        cell = (8 + 6 * index, 74)
        reference = f"#FLG{index:02d}"
        body.append("\n".join([
            f'(symbol (lib_id "own:FED") {at(*cell)} (unit 1) (exclude_from_sim no) (in_bom no) '
            "(on_board yes) (dnp no)",
            f"(uuid {quoted(page.own(reference))})",
            f'(property "Reference" {quoted(reference)} {at(*cell)} {HIDDEN})',
            f'(property "Value" "FED" {at(*cell)} {HIDDEN})',
            f'(pin "1" (uuid {quoted(page.own(reference, "1"))}))',
            instance(page, reference),
        ]))  # fmt: skip
        body.append(label_text(page, net, cell, "down", True))
    return library, "\n".join(body)


def sheet_box(root: Page, page: Page, corner: Cell) -> str:
    """The box on the first page that stands for another one."""
    x, y = corner
    return "\n".join([
        f"(sheet (at {mm(x)} {mm(y)}) (size {mm(23)} {mm(3)}) (exclude_from_sim no) (in_bom yes) "
        "(on_board yes) (dnp no) (stroke (width 0.15) (type solid)) (fill (color 0 0 0 0))",
        f"(uuid {quoted(page.path.rsplit('/', 1)[1])})",
        f'(property "Sheetname" {quoted(page.sheet.name)} {at(x, y - 0.4)} '
        f"{FONT.format(' (justify left bottom)')})",
        f'(property "Sheetfile" {quoted(file_name(page.sheet))} {at(x + 0.6, y + 1.5)} '
        f"{FONT.format(' (justify left)')})",
        f"(instances (project {quoted(root.project)} (path {quoted(root.path)} "
        f"(page {quoted(str(page.number))}))))",
        ")",
    ])  # fmt: skip


def file_name(sheet: Sheet) -> str:
    """The file that a page lies in."""
    return sheet.name.replace(" ", "_") + ".kicad_sch"


def files_of(circuit: Circuit, board: BoardData) -> dict[str, str]:
    """Every file of a circuit's drawing by its name; the first sheet is the first page."""
    project = f"controller_{circuit.board}"
    first, *others = circuit.sheets
    root_path = f"/{identity(project, first.name)}"
    pages = [Page(project, first, root_path, 1, len(circuit.sheets))]
    pages += [Page(project, sheet, f"{root_path}/{identity(project, 'page', sheet.name)}", number,
                   len(circuit.sheets)) for number, sheet in enumerate(others, 2)]  # fmt: skip
    shared = shared_nets(circuit)
    fed = {net for net in circuit.nets if net in RAILS and net != "3V3"}
    library, flagged = flags(pages[0], fed)
    boxes = [sheet_box(pages[0], page, (82, 6 + 6 * index)) for index, page in enumerate(pages[1:])]
    extra = "\n".join([
        flagged, *boxes,
        '(sheet_instances (path "/" (page "1")))',
    ])  # fmt: skip
    root = page_text(pages[0], board, shared, extra).replace(
        "(lib_symbols\n", f"(lib_symbols\n{library}\n", 1)
    texts = {f"{project}.kicad_sch": root}
    texts |= {file_name(page.sheet): page_text(page, board, shared) for page in pages[1:]}
    texts[f"{project}.kicad_pro"] = project_text()
    texts[LIBRARY] = library_text()
    return texts


def shared_nets(circuit: Circuit) -> set[str]:
    """Nets that more than one page has."""
    seen: dict[str, set[str]] = {}
    for sheet in circuit.sheets:
        for part in sheet.parts:
            for net in part.nets.values():
                seen.setdefault(net, set()).add(sheet.name)
    return {net for net, names in seen.items() if len(names) > 1}


def project_text() -> str:
    """The project: what the rule check leaves out, for it has no library to look into."""
    quiet = ("lib_symbol_issues", "lib_symbol_mismatch", "footprint_link_issues",
             "footprint_filter", "endpoint_off_grid")  # fmt: skip
    return json.dumps({
        "erc": {"rule_severities": dict.fromkeys(quiet, "ignore")},
        "meta": {"version": 3},
        "schematic": {"meta": {"version": 1}},
    }, indent=2) + "\n"  # fmt: skip
