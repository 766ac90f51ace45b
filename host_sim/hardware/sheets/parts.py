"""Short ways to write a part down; each names its line in the parts list (parts_list.py)."""

from __future__ import annotations

from host_sim.hardware.circuit import Part

Place = tuple[int, int]


def two(kind: str, ref: str, item: str, value: str, nets: tuple[str, str], at: Place,
        turn: str = "up") -> Part:  # fmt: skip
    """A part with two pins; nets in the order of pins 1 and 2, which for a diode is K and A."""
    return Part(ref, kind, value, item, {"1": nets[0], "2": nets[1]}, at, turn)


def resistor(ref: str, value: str, nets: tuple[str, str], at: Place, turn: str = "up",
             item: str = "") -> Part:  # fmt: skip
    """A resistor of the small kind where no other item is named."""
    return two("R", ref, item or f"R {value}", value, nets, at, turn)


def capacitor(ref: str, item: str, nets: tuple[str, str], at: Place) -> Part:
    """A capacitor; its item names value and voltage, and "+" stands for an electrolytic one."""
    kind = "CP" if item.endswith("+") else "C"
    value = item.removeprefix("C ").removesuffix(" +")
    return two(kind, ref, item, value, nets, at)


def diode(ref: str, item: str, anode: str, cathode: str, at: Place, turn: str = "up",
          kind: str = "D") -> Part:  # fmt: skip
    """A diode; it is drawn with its cathode on the side that `turn` names."""
    return two(kind, ref, item, item, (cathode, anode), at, turn)


def clamp(ref: str, net: str, at: Place) -> Part:
    """A Schottky diode that leads into 3.3 V what would lift a pin above it."""
    return diode(ref, "BAT85", net, "3V3", at, kind="DS")


def connector(ref: str, value: str, nets: tuple[str, ...], at: Place, side: str,
              labelled: bool = False) -> Part:  # fmt: skip
    """Screw terminals in a row, numbered from 1; wires come from this side."""
    numbered = {str(number): net for number, net in enumerate(nets, 1)}
    return Part(ref, "CONN", value, f"terminal {len(nets)}", numbered, at, side,
                labelled)


def chip(ref: str, kind: str, nets: dict[int, str], at: Place, labelled: bool = False) -> Part:
    """An integrated circuit; its item has the name of its kind."""
    numbered = {str(number): net for number, net in nets.items()}
    return Part(ref, kind, kind, kind, numbered, at, labelled=labelled)


def bypass(ref: str, rail: str, at: Place) -> Part:
    """100 nF beside a chip."""
    return capacitor(ref, "C 100 nF 50 V", (rail, "GND"), at)
