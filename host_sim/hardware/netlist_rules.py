"""Rules that any netlist of the controller must keep, whoever drew it.

They know nothing of the circuit table: what they look at is a netlist, the firmware's pin table and
the parts list. So they find a table that is wrong as well as a drawing that is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from host_sim.hardware.boards import BoardData
from host_sim.hardware.circuit import RAILS, Nets, Part, nets_of
from host_sim.hardware.parts_list import ITEMS
from host_sim.hardware.pin_rules import PinTable
from host_sim.hardware.signals import BY_NAME

VOLTS = {"GND": 0.0, "3V3": 3.3, "V5": 5.0}
HIGH_V = 2.0  # the least that a 74HCT input takes for high (JESD7-A family, TTL levels)
LOW_V = 0.8
PIN_MOST_V = 3.63  # RP2040 data sheet, table 652
SERIES_OHM = 2200  # what stands between a pin and the resistor that holds it, at most
GATE_OHM = 22_000
SUPPLIES = {  # pins of supply by item: what feeds them
    "74HC14": {"14": "3V3", "7": "GND"},
    "74HC165": {"16": "3V3", "8": "GND"},
    "74HCT595": {"16": "V5", "8": "GND", "10": "V5"},
    "TC4427A": {"6": "V_GATE", "3": "GND"},
    "L298N": {"9": "V5", "4": "V_BRIDGE", "8": "GND", "1": "GND"},
    "MCP2562": {"3": "V5", "5": "3V3", "2": "GND"},
    "MCP2515": {"18": "3V3", "9": "GND"},
    "LM2576": {"1": "V_PROT", "3": "GND", "4": "V5", "5": "GND"},
}  # fmt: skip
OUTPUT_PINS = ("15", "1", "2", "3", "4", "5", "6", "7")  # QA to QH of the 74HCT595
INPUT_PINS = ("11", "12", "13", "14", "3", "4", "5", "6")  # A to H of the 74HC165
LOAD_RAILS = {"V_PUMP", "V_VALVE"}
MULTIPLES = {"k": 1e3, "M": 1e6, "": 1.0}


@dataclass(frozen=True)
class Seen:
    """A netlist from the outside."""

    parts: Mapping[str, Part]

    def of_item(self, *items: str) -> list[Part]:
        """Parts of these items."""
        return [part for part in self.parts.values() if part.item in items]

    def resistors(self, net: str) -> list[tuple[str, float, str]]:
        """Resistors at a net: reference, ohms, the net at the other end."""
        return self._resistors.get(net, [])

    @cached_property
    def _resistors(self) -> dict[str, list[tuple[str, float, str]]]:
        found: dict[str, list[tuple[str, float, str]]] = {}
        for part in self.parts.values():
            if part.kind == "R":
                one, other = part.nets["1"], part.nets["2"]
                found.setdefault(one, []).append((part.ref, ohms(part.value), other))
                found.setdefault(other, []).append((part.ref, ohms(part.value), one))
        return found

    @cached_property
    def nets(self) -> Nets:
        """Every net with its pins."""
        return nets_of(self.parts)


def ohms(value: str) -> float:
    """Ohms from "4.7 k". Raises ValueError for anything else."""
    match = re.fullmatch(r"([\d.]+)( ?([kM]))?", value)
    if not match:
        raise ValueError(f"no resistance: {value}")
    return float(match[1]) * MULTIPLES[match[3] or ""]


def of_pins(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Each signal is at the pin of the module where the firmware has it, and nowhere else."""
    module = seen.parts["U1"].nets
    wanted = {str(board.holes[gpio]): name for name, gpio in table.gpio.items()}
    for hole, net in sorted(module.items(), key=lambda entry: int(entry[0])):
        rails = [rail for rail, holes in board.rails.items() if int(hole) in holes]
        expected = wanted.get(hole, {"5V": "VSYS"}.get(rails[0], rails[0]) if rails else "")
        if net != expected:
            yield f"U1 pin {hole}: is {net or 'open'}, the firmware has {expected or 'nothing'}"


def of_pulls(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Resistors alone hold each signal where signals.py says, with the board pulled out.

    Where only the board's own 3.3 V holds an output, it does not with the board out; so what
    moves something and is safe high hangs on 5 V.
    """
    for name in table.gpio:
        pull = BY_NAME[name].pull
        if not pull:
            continue
        level = resting_volts(seen, name)
        if level is None:
            yield f"{name}: no resistor holds it"
        elif pull == "down" and level > LOW_V or pull == "up" and level < HIGH_V:
            yield f"{name}: its resistors hold it at {level:.2f} V, not {pull}"
        elif level > PIN_MOST_V:
            yield f"{name}: its resistors lift the pin to {level:.2f} V"
        if pull == "up" and BY_NAME[name].moves:
            without = resting_volts(seen, name, {**VOLTS, "3V3": 0.0})
            if without is None or without < HIGH_V:
                yield f"{name}: nothing holds it with the board pulled out"


def resting_volts(seen: Seen, net: str, volts: Mapping[str, float] = VOLTS) -> float | None:
    """The level that resistors to rails give a net that nothing drives; None without any."""
    reached, ahead = {net}, [net]
    conductance = current = 0.0
    while ahead:
        for _, resistance, other in seen.resistors(ahead.pop()):
            if other in volts:
                conductance += 1 / resistance
                current += volts[other] / resistance
            elif resistance <= SERIES_OHM and other not in reached:
                reached.add(other)
                ahead.append(other)
    return current / conductance if conductance else None


def of_transistors(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Each load has its source on ground, its gate held low, a diode and terminals at its drain."""
    for part in seen.of_item("IRL640", "IRFB4115"):
        gate, drain, source = (part.nets[pin] for pin in "123")
        if source != "GND":
            yield f"{part.ref}: its source is on {source}, not on ground"
        if not any(other == "GND" and value <= GATE_OHM
                   for _, value, other in seen.resistors(gate)):  # fmt: skip
            yield f"{part.ref}: no resistor holds its gate low"
        at_drain = [seen.parts[ref] for ref, _ in seen.nets.get(drain, ())]
        feeds = {other.nets["1"] for other in at_drain if other.kind == "CONN"}
        if len(feeds) != 1 or not feeds <= LOAD_RAILS:
            yield f"{part.ref}: its drain leads to no load"
        elif not any(freewheels(other, drain, feeds) for other in at_drain):
            yield f"{part.ref}: no diode leads from its drain to the load's supply"


def freewheels(part: Part, drain: str, feeds: set[str]) -> bool:
    """Whether a part is a diode from this drain to the load's supply."""
    if part.kind == "D2":
        return part.nets["1"] == part.nets["3"] == drain and part.nets["2"] in feeds
    return part.kind == "D" and part.nets["2"] == drain and part.nets["1"] in feeds


def of_rails(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Each rail is a net of its own: where two are joined, one of them is gone."""
    for rail in RAILS:
        if len(seen.nets.get(rail, ())) < 2:
            yield f"{rail}: is not there, or joined to another rail"


def of_supplies(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Each chip is fed as its data sheet wants, with 100 nF on each rail."""
    fed: set[str] = set()
    for part in seen.parts.values():
        for pin, rail in SUPPLIES.get(part.item, {}).items():
            if part.nets[pin] != rail:
                yield f"{part.ref} pin {pin}: is on {part.nets[pin] or 'nothing'}, needs {rail}"
        fed |= set(SUPPLIES.get(part.item, {}).values()) - {"GND"}
    for rail in sorted(fed):
        if not any(part.item.startswith("C 100 nF") and set(part.nets.values()) == {rail, "GND"}
                   for part in seen.parts.values()):  # fmt: skip
            yield f"{rail}: no 100 nF for the chips on it"


def of_sections(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Section 1 is QA and A, as bit 0 of the firmware's mask; each letter opens its own valve."""
    drive, sense = seen.of_item("74HCT595"), seen.of_item("74HC165")
    if len(drive) != 1 or len(sense) != 1:
        yield "section registers: there must be one of each"
        return
    for number, (output, into) in enumerate(zip(OUTPUT_PINS, INPUT_PINS, strict=True), 1):
        gates = {other for _, _, other in seen.resistors(drive[0].nets[output])} - {"GND"}
        valves = {part.nets["2"] for part in seen.of_item("IRL640") if part.nets["1"] in gates}
        terminal = [part for part in seen.parts.values()
                    if part.value == f"section {number}" and part.kind == "CONN"]  # fmt: skip
        if len(terminal) != 1 or valves != {terminal[0].nets["2"]}:
            yield f"section {number}: output {'ABCDEFGH'[number - 1]} does not lead to its valve"
        if sense[0].nets[into] != switch_net(seen, number):
            yield f"section {number}: its switch is not at input {'ABCDEFGH'[number - 1]}"


def switch_net(seen: Seen, number: int) -> str:
    """Where the wire of a section switch comes out behind its resistor."""
    terminal = [part for part in seen.parts.values() if part.value == "section switches"]
    network = seen.of_item("RN 8 x 1 k")
    if not terminal or not network:
        return "nowhere"
    wire = terminal[0].nets[str(number)]
    pins = [pin for pin, net in network[0].nets.items() if net == wire]
    return network[0].nets[str(17 - int(pins[0]))] if len(pins) == 1 else "nowhere"


def of_fuses(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Nothing but a fuse hangs on a wire from the battery, and each load has a fuse of its own."""
    for part in seen.parts.values():
        if part.value.startswith("battery"):
            others = {ref for ref, _ in seen.nets[part.nets["1"]]} - {part.ref}
            if not others or any(seen.parts[ref].kind != "F" for ref in others):
                yield f"{part.ref}: more than a fuse hangs on {part.nets['1']}"
    for rail in sorted(LOAD_RAILS):
        if not any(seen.parts[ref].kind == "F" for ref, _ in seen.nets.get(rail, ())):
            yield f"{rail}: comes from no fuse"


def of_parts(seen: Seen, table: PinTable, board: BoardData) -> Iterator[str]:
    """Each part is in the parts list with as many pins, and none is bridged by its own net."""
    for part in seen.parts.values():
        item = ITEMS.get(part.item)
        if not item:
            yield f"{part.ref}: {part.item} is not in the parts list"
        elif item.pins and item.pins != len(part.nets):
            yield f"{part.ref}: has {len(part.nets)} pins, {part.item} has {item.pins}"
        if len(part.nets) == 2 and len(set(part.nets.values())) == 1 and part.kind != "CONN":
            yield f"{part.ref}: both its pins are on {part.nets['1'] or 'nothing'}"


RULES: tuple[Callable[[Seen, PinTable, BoardData], Iterator[str]], ...] = (
    of_pins, of_pulls, of_transistors, of_rails, of_supplies, of_sections, of_fuses, of_parts,
)  # fmt: skip


def findings(parts: Mapping[str, Part], table: PinTable, board: BoardData) -> list[str]:
    """Everything that is wrong with a netlist, a line each."""
    seen = Seen(parts)
    return [found for rule in RULES for found in rule(seen, table, board)]
