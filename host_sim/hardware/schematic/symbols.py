"""Symbols, drawn by hand in units of the grid, x to the right and y down.

Each way to turn a symbol is a symbol of its own, turned here, so that a file holds no turned or
mirrored symbols and what stands in it is what is drawn. Pin numbers are those of the packages in
the parts list.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

Point = tuple[float, float]
OUTWARD: dict[str, tuple[int, int]] = {
    "left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1),
}  # fmt: skip
# Where pin 1 of a part with two pins is, and how to turn there from "up".
TURNS: dict[str, Callable[[Point], Point]] = {
    "up": lambda p: p,
    "down": lambda p: (-p[0], -p[1]),
    "left": lambda p: (p[1], -p[0]),
    "right": lambda p: (-p[1], p[0]),
}


@dataclass(frozen=True)
class SymbolPin:
    """A pin: where its wire begins, the side it points to, its name and its electrical type."""

    at: Point
    side: str
    name: str = ""
    type: str = "passive"


@dataclass(frozen=True)
class Symbol:
    """Pins by number, lines, circles (centre and radius), and the box that they fill."""

    pins: Mapping[str, SymbolPin]
    lines: tuple[tuple[Point, ...], ...] = ()
    circles: tuple[tuple[Point, float], ...] = ()
    filled: tuple[Point, Point] | None = None
    body: tuple[float, float, float, float] = (-1, -1, 1, 1)
    texts: Mapping[str, Point] = field(default_factory=dict)
    value_below: bool = True


def turned(symbol: Symbol, turn: str) -> Symbol:
    """The symbol with pin 1 on another side than "up"."""
    move = TURNS[turn]
    sides = {step: side for side, step in OUTWARD.items()}

    def side(pin: SymbolPin) -> str:
        x, y = move(OUTWARD[pin.side])
        return sides[int(x), int(y)]

    corners = move(symbol.body[:2]), move(symbol.body[2:])
    (left, right), (top, bottom) = (sorted(values) for values in zip(*corners, strict=True))
    return replace(
        symbol,
        pins={number: replace(pin, at=move(pin.at), side=side(pin))
              for number, pin in symbol.pins.items()},
        lines=tuple(tuple(move(point) for point in line) for line in symbol.lines),
        circles=tuple((move(centre), radius) for centre, radius in symbol.circles),
        body=(left, top, right, bottom),
    )  # fmt: skip


def two_pins(*lines: tuple[Point, ...], names: tuple[str, str] = ("", "")) -> Symbol:
    """A symbol between (0, -2), pin 1, and (0, 2), pin 2."""
    pins = {"1": SymbolPin((0, -2), "up", names[0]), "2": SymbolPin((0, 2), "down", names[1])}
    return Symbol(pins, lines, body=(-0.6, -1.2, 0.6, 1.2))


def lead(top: float, bottom: float) -> tuple[tuple[Point, ...], tuple[Point, ...]]:
    """The two wires from the pins to a body between these heights."""
    return ((0, -2), (0, top)), ((0, bottom), (0, 2))


def rectangle(left: float, top: float, right: float, bottom: float) -> tuple[Point, ...]:
    """The line around a rectangle."""
    return ((left, top), (right, top), (right, bottom), (left, bottom), (left, top))


def diode(bar: tuple[Point, ...], *more: tuple[Point, ...]) -> Symbol:
    """A diode with its cathode, pin 1, up; `bar` is the line at the cathode."""
    triangle = ((-0.5, 0.4), (0.5, 0.4), (0, -0.4), (-0.5, 0.4))
    return two_pins(*lead(-0.4, 0.4), triangle, bar, *more, names=("K", "A"))


def transistor(names: tuple[str, str, str], *lines: tuple[Point, ...]) -> Symbol:
    """Control on the left, the others up and down; names in the order of the package's pins."""
    places = {
        "G": ((-2, 0), "left"), "D": ((1, -2), "up"), "S": ((1, 2), "down"),
        "B": ((-2, 0), "left"), "C": ((1, -2), "up"), "E": ((1, 2), "down"),
    }  # fmt: skip
    pins = {str(number): SymbolPin(*places[name], name)
            for number, name in enumerate(names, 1)}  # fmt: skip
    return Symbol(pins, lines, circles=(((0.3, 0), 1.2),), body=(-0.9, -1.2, 1.5, 1.2),
                  value_below=False)


ARROW = ((0.0, 0.0), (0.5, -0.2), (0.5, 0.2), (0.0, 0.0))
MOSFET = (
    ((-2, 0), (-0.5, 0)), ((-0.5, -0.6), (-0.5, 0.6)),
    ((-0.2, -0.8), (-0.2, -0.4)), ((-0.2, -0.2), (-0.2, 0.2)), ((-0.2, 0.4), (-0.2, 0.8)),
    ((-0.2, -0.6), (1, -0.6), (1, -2)), ((-0.2, 0.6), (1, 0.6), (1, 2)),
    ((-0.2, 0), (0.5, 0), (0.5, 0.6)), tuple((x - 0.2, y) for x, y in ARROW),
)  # fmt: skip
BIPOLAR = (
    ((-2, 0), (-0.3, 0)), ((-0.3, -0.7), (-0.3, 0.7)),
    ((-0.3, -0.3), (1, -1), (1, -2)), ((-0.3, 0.3), (1, 1), (1, 2)),
    ((0.6, 0.8), (0.3, 0.9), (0.5, 0.5), (0.6, 0.8)),
)  # fmt: skip
PLATES = (((-0.7, -0.2), (0.7, -0.2)), ((-0.7, 0.2), (0.7, 0.2)))
PLUS = (((-0.9, -0.8), (-0.5, -0.8)), ((-0.7, -1.0), (-0.7, -0.6)))
COIL = ((0.0, -1.0), (0.4, -0.75), (0.0, -0.5), (0.4, -0.25), (0.0, 0.0), (0.4, 0.25), (0.0, 0.5),
        (0.4, 0.75), (0.0, 1.0))  # fmt: skip
BENT = ((-0.6, -0.6), (-0.5, -0.4), (0.5, -0.4), (0.6, -0.2))

SMALL: dict[str, Symbol] = {
    "R": two_pins(*lead(-1, 1), rectangle(-0.4, -1, 0.4, 1)),
    "C": two_pins(*lead(-0.2, 0.2), *PLATES),
    "CP": two_pins(*lead(-0.2, 0.2), *PLATES, *PLUS),
    "L": two_pins(*lead(-1, 1), COIL),
    "F": two_pins(*lead(-1, 1), rectangle(-0.4, -1, 0.4, 1), ((0, -1), (0, 1))),
    "D": diode(((-0.5, -0.4), (0.5, -0.4))),
    "DS": diode(((-0.3, -0.2), (-0.5, -0.2), (-0.5, -0.4), (0.5, -0.4), (0.5, -0.6), (0.3, -0.6))),
    "DZ": diode(BENT),
    "DT": diode(BENT, ((0.5, -0.4), (0.7, -0.4))),
    "LED": diode(((-0.5, -0.4), (0.5, -0.4)), ((0.7, 0), (1.1, -0.4)), ((0.7, 0.4), (1.1, 0))),
    "JP": two_pins(*lead(-0.7, 0.7), ((0, -0.7), (0.4, 0.6))),
    "Y": two_pins(*lead(-0.5, 0.5), ((-0.6, -0.5), (0.6, -0.5)), ((-0.6, 0.5), (0.6, 0.5)),
                  rectangle(-0.6, -0.3, 0.6, 0.3)),
    "S": two_pins(*lead(-0.7, 0.7), ((0, 0.7), (-0.4, -0.8)), ((-0.4, -0.7), (0, -0.7))),
    "NMOS": transistor(("G", "D", "S"), *MOSFET),  # TO-220
    "NMOS_SOT": transistor(("G", "S", "D"), *MOSFET),  # SOT-23
    "NPN": transistor(("C", "B", "E"), *BIPOLAR),  # TO-92 with the middle pin as its base
    "D2": Symbol(  # two diodes with one cathode, TO-220
        {"1": SymbolPin((-1, 2), "down", "A"), "2": SymbolPin((0, -2), "up", "K"),
         "3": SymbolPin((1, 2), "down", "A")},
        (((0, -2), (0, -0.9)), ((-1, -0.9), (1, -0.9)), ((-1, -0.9), (-1, 2)), ((1, -0.9), (1, 2)),
         ((-1.4, 0.9), (-0.6, 0.9), (-1, 0.1), (-1.4, 0.9)), ((-1.4, 0.1), (-0.6, 0.1)),
         ((0.6, 0.9), (1.4, 0.9), (1, 0.1), (0.6, 0.9)), ((0.6, 0.1), (1.4, 0.1))),
        body=(-1.5, -1.2, 1.5, 1.2), value_below=False),
    "TP": Symbol({"1": SymbolPin((0, 1), "down")}, (((0, 1), (0, 0.4)),), (((0, 0), 0.4),),
                 body=(-0.5, -0.5, 0.5, 0.4), value_below=False),
    "K": Symbol(  # a relay: coil 85, 86; contact 30, 87
        {"86": SymbolPin((-2, -2), "up"), "85": SymbolPin((-2, 2), "down"),
         "30": SymbolPin((2, -2), "up"), "87": SymbolPin((2, 2), "down")},
        (rectangle(-3, -0.8, -1, 0.8), ((-2, -2), (-2, -0.8)), ((-2, 0.8), (-2, 2)),
         ((2, -2), (2, -0.8), (1.2, 0.7)), ((2, 0.8), (2, 2)), ((-1, 0), (1.5, 0))),
        body=(-3, -1.2, 2.2, 1.2), value_below=False),
}  # fmt: skip

# Boxes: the pins on the left and on the right from top to bottom, each "number name type"; the
# type is i, o, t (output that can be open), b (both), p (passive), w (needs power), s (gives it),
# n (none).
BOXES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "LM2576": (("1 VIN w", "5 ON/OFF i", "3 GND w"), ("2 OUT o", "4 FB i")),
    "74HC14": (("1 1A i", "3 2A i", "5 3A i", "9 4A i", "11 5A i", "13 6A i", "14 VCC w"),
               ("2 1Y o", "4 2Y o", "6 3Y o", "8 4Y o", "10 5Y o", "12 6Y o", "7 GND w")),
    "74HC165": (("11 A i", "12 B i", "13 C i", "14 D i", "3 E i", "4 F i", "5 G i", "6 H i",
                 "16 VCC w", "8 GND w"),
                ("1 SH/LD i", "2 CLK i", "15 CLKINH i", "10 SER i", "9 QH o", "7 ~{QH} o")),
    "74HCT595": (("14 SER i", "11 SRCLK i", "12 RCLK i", "13 OE i", "10 SRCLR i", "16 VCC w",
                  "8 GND w"),
                 ("15 QA t", "1 QB t", "2 QC t", "3 QD t", "4 QE t", "5 QF t", "6 QG t", "7 QH t",
                  "9 QH* o")),
    "TC4427A": (("2 INA i", "4 INB i", "6 VDD w", "3 GND w"),
                ("7 OUTA o", "5 OUTB o", "1 NC n", "8 NC n")),
    "L298N": (("5 IN1 i", "7 IN2 i", "6 ENA i", "10 IN3 i", "12 IN4 i", "11 ENB i", "9 VSS w",
               "4 VS w"),
              ("2 OUT1 o", "3 OUT2 o", "1 SENSE1 p", "13 OUT3 o", "14 OUT4 o", "15 SENSE2 p",
               "8 GND w")),
    "MCP2562": (("1 TXD i", "4 RXD o", "8 STBY i", "5 VIO w"),
                ("7 CANH b", "6 CANL b", "3 VDD w", "2 VSS w")),
    "MCP2515": (("13 SCK i", "14 SI i", "15 SO t", "16 CS i", "17 RESET i", "8 OSC1 i", "7 OSC2 o",
                 "18 VDD w", "9 VSS w"),
                ("1 TXCAN o", "2 RXCAN i", "3 CLKOUT o", "4 TX0RTS i", "5 TX1RTS i", "6 TX2RTS i",
                 "12 INT o", "11 RX0BF o", "10 RX1BF o")),
    "RN_BUS": (tuple(f"{n} R{n - 1} p" for n in range(2, 10)), ("1 COM p",)),
    "RN_EACH": (tuple(f"{n} {n} p" for n in range(1, 9)),
                tuple(f"{17 - n} {17 - n} p" for n in range(1, 9))),
}  # fmt: skip
TYPES = {"i": "input", "o": "output", "t": "tri_state", "b": "bidirectional", "p": "passive",
         "w": "power_in", "s": "power_out", "n": "no_connect"}  # fmt: skip


def box(left: tuple[str, ...], right: tuple[str, ...], half: int = 4) -> Symbol:
    """A rectangle with pins on both sides, this far from its middle, a unit apart."""
    rows = max(len(left), len(right))
    top = -(rows // 2)
    pins = {}
    for side, entries in (("left", left), ("right", right)):
        x = -half - 1 if side == "left" else half + 1
        for row, entry in enumerate(entries):
            number, *name, kind = entry.split()
            pins[number] = SymbolPin((x, top + row), side, " ".join(name), TYPES[kind])
    corners = (-half, top - 1), (half, top + rows)
    return Symbol(pins, filled=corners, body=(*corners[0], *corners[1]))


def connector(names: tuple[str, ...], side: str) -> Symbol:
    """A row of terminals whose wires come from this side, a unit apart, the first one on top."""
    direction = OUTWARD[side][0]
    pins = {str(n): SymbolPin((2 * direction, n - 1), side, name)
            for n, name in enumerate(names, 1)}  # fmt: skip
    circles = tuple(((0.6 * direction, n), 0.3) for n in range(len(names)))
    lines = tuple(((0.9 * direction, n), (2 * direction, n)) for n in range(len(names)))
    corners = (-1, -1), (1, len(names))
    return Symbol(pins, lines, circles, filled=corners, body=(-1, -1, 1, len(names)))


def module(left: tuple[str, ...], right: tuple[str, ...]) -> Symbol:
    """A board: a tall box with two rows of pins."""
    return box(left, right, half=7)


def power(rail: str, upward: bool) -> Symbol:
    """A symbol that names a rail: ground hangs down, the others stand up, or the other way."""
    pin = {"1": SymbolPin((0, 0), "down" if upward else "up", rail, "power_in")}
    s = -1 if upward else 1
    if rail == "GND":
        lines: tuple[tuple[Point, ...], ...] = tuple(
            ((-half, s * y), (half, s * y)) for half, y in ((0.6, 0.5), (0.35, 0.75), (0.12, 1.0)))
        return Symbol(pin, (((0, 0), (0, s * 0.5)), *lines), body=(-0.6, 0, 0.6, 1))
    return Symbol(pin, (((0, 0), (0, s * 0.6)), ((-0.5, s * 0.6), (0.5, s * 0.6))),
                  body=(-0.6, -1, 0.6, 0), texts={"value": (0, s * 1.0)})
