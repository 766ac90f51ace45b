"""The parts list: what may be bought for each part of the circuit, and what it must stand.

Part numbers are generic, those under which several makers sell the same thing. Ratings are those of
the data sheets as far as the simulation compares with them; from memory where no source is named in
hardware/parts.md, so read the sheet of what you buy. Nothing of it has been tried.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from host_sim.hardware import boards


@dataclass(frozen=True)
class Item:
    """A line of the list.

    `choices` are the part first chosen and two that may take its place; `pins` is their number, 0
    where it varies; `ratings` are the most that it stands ("V", "A", "W", "A2s" for a fuse's or a
    diode's integral of squared current).
    """

    what: str
    pins: int
    choices: tuple[str, str, str]
    ratings: Mapping[str, float] = field(default_factory=dict)


def small_resistor(value: str) -> Item:
    """A resistor of the usual kind."""
    return Item(f"resistor {value}", 2, ("metal film 0.6 W 1 %", "metal film 0.5 W 1 %",
                                         "thin film 1206 0.25 W 1 %"), {"W": 0.6, "V": 350})


def ceramic(value: str, volts: float, other: str) -> Item:
    """A small capacitor."""
    return Item(f"capacitor {value}", 2,
                (f"ceramic X7R {volts:g} V, pitch 5 mm", f"film {max(volts, 63):g} V, pitch 5 mm",
                 other), {"V": volts})  # fmt: skip


def electrolytic(value: str, volts: float, amps: float) -> Item:
    """A large capacitor; amps is the ripple at 10 kHz and more."""
    return Item(f"electrolytic capacitor {value}", 2,
                (f"{volts:g} V, 105 C, low impedance", "the next higher voltage, 105 C",
                 "twice the capacitance, 105 C"), {"V": volts, "A": amps})  # fmt: skip


def terminal(pins: int) -> Item:
    """Screw terminals; the circuit names what goes on each."""
    return Item(f"screw terminals, {pins}", pins,
                ("rising clamp, pitch 5.08 mm", "pluggable, pitch 5.08 mm",
                 "spring, pitch 5.08 mm"),
                {"A": 10, "V": 250})  # fmt: skip


VALUES = ("10", "100", "150", "1 k", "2.2 k", "3.3 k", "4.7 k", "10 k", "15 k", "18 k", "22 k",
          "47 k", "68 k")  # fmt: skip
FUSES = {"0.5 A": 32.0, "1 A": 32.0, "2 A": 32.0, "3 A": 32.0, "10 A": 32.0, "15 A": 32.0,
         "25 A": 32.0}  # fmt: skip
Row = tuple[str, int, tuple[str, str, str], dict[str, float]]
CIRCUITS: dict[str, Row] = {  # item: what it is, pins, choices, ratings
    "LM2576": ("step-down regulator to 5 V, input 60 V", 5,
               ("LM2576HVT-5.0", "LM2596HV module for 60 V, set to 5.0 V",
                "LM2576HVT-ADJ with 1 k and 3.09 k"),
               {"V": 60}),
    "74HC14": ("six inverting Schmitt triggers", 14, ("SN74HC14N", "CD74HC14E", "MM74HC14N"),
               {"V": 7}),
    "74HC165": ("shift register, eight inputs", 16, ("SN74HC165N", "CD74HC165E", "MM74HC165N"),
                {"V": 7}),
    "74HCT595": ("shift register, eight outputs, inputs at TTL levels", 16,
                 ("CD74HCT595E", "74HCT595N", "SN74HCT595N"), {"V": 7}),
    "TC4427A": ("two gate drivers, not inverting", 8, ("TC4427ACPA", "MIC4427YN", "MAX4427CPA"),
                {"V": 22}),
    "L298N": ("two bridges, 2 A each", 15, ("L298N", "L298HN", "a module with an L298N"),
              {"V": 50, "A": 2, "W": 25}),
    "MCP2562": ("CAN transceiver with a supply for 3.3 V logic", 8,
                ("MCP2562-E/P", "MCP2562FD-E/P", "ATA6561 on an adapter"), {"V": 58}),
    "MCP2515": ("CAN controller with SPI", 18,
                ("MCP2515-I/P", "MCP2515-E/P", "MCP2515-I/SO on an adapter"), {"V": 7}),
}  # fmt: skip
TRANSISTORS: dict[str, Row] = {
    "IRL640": ("N-channel MOSFET, logic level, 200 V", 3, ("IRL640", "IRL630", "IRLI640G"),
               {"V": 200, "A": 11, "W": 2}),
    "IRFB4115": ("N-channel MOSFET, 150 V, 11 milliohm", 3,
                 ("IRFB4115", "IRFB4321", "FDP083N15A"), {"V": 150, "A": 74, "W": 12}),
    "BC337": ("NPN transistor, 45 V, 0.8 A", 3,
              ("BC337-40", "BC337-25", "PN2222A, other pin order"),
              {"V": 45, "A": 0.8, "W": 0.6}),
    "BSS138": ("N-channel MOSFET for level shifting, 50 V", 3,
               ("BSS138 on an adapter", "a four-channel level shifter module",
                "2N7002 if its threshold is below 2 V"),
               {"V": 50, "A": 0.2}),
}  # fmt: skip
DIODES: dict[str, Row] = {
    "1N5404": ("rectifier 3 A, 400 V", 2, ("1N5404", "1N5406", "1N5408"),
               {"V": 400, "A": 3, "A2s": 166}),
    "5KP33A": ("suppressor 5 kW, stand-off 33 V", 2, ("5KP33A", "15KP33A", "SM8S33A on an adapter"),
               {"V": 33, "W_1ms": 5000}),
    "5KP24A": ("suppressor 5 kW, stand-off 24 V", 2,
               ("5KP24A", "15KP24A", "SM8S24A on an adapter"),
               {"V": 24, "W_1ms": 5000}),
    "SB5100": ("Schottky diode 5 A, 100 V", 2, ("SB5100", "SR5100", "MBR10100"),
               {"V": 100, "A": 5}),
    "1N5817": ("Schottky diode 1 A, 20 V", 2, ("1N5817", "1N5818", "1N5819"), {"V": 20, "A": 1}),
    "BAT85": ("small Schottky diode 0.2 A, 30 V", 2, ("BAT85", "BAT86", "BAT43"),
              {"V": 30, "A": 0.2}),
    "1N4007": ("rectifier 1 A, 1000 V", 2, ("1N4007", "1N4006", "UF4007"), {"V": 1000, "A": 1}),
    "UF4004": ("fast rectifier 1 A, 400 V", 2, ("UF4004", "UF4005", "UF4007"),
               {"V": 400, "A": 1, "A_peak": 30}),
    "MBR20200CT": ("two Schottky diodes 10 A, 200 V", 3,
                   ("MBR20200CT", "MBR30200CT", "STPS20200CT"), {"V": 200, "A": 20, "W": 12}),
    "1N4744A": ("Zener diode 15 V, 1 W", 2, ("1N4744A", "BZX85C15", "1N5929B"), {"W": 1}),
    "1N4148": ("small diode 0.2 A, 100 V", 2, ("1N4148", "1N914", "BAV21"), {"V": 100, "A": 0.2}),
    "LED": ("green LED", 2, ("3 mm", "5 mm", "3 mm with holder"), {"A": 0.02}),
}  # fmt: skip
OTHERS: dict[str, Row] = {
    "R 6.8 10 W": ("wirewound resistor 6.8 ohm", 2,
                   ("10 W cement", "10 W aluminium case", "17 W cement"), {"W": 10}),
    "R 2.2 10 W": ("wirewound resistor 2.2 ohm", 2,
                   ("10 W cement", "10 W aluminium case", "17 W cement"), {"W": 10}),
    "R 220 2 W": ("resistor 220 ohm", 2, ("metal oxide 2 W", "wirewound 3 W", "metal oxide 3 W"),
                  {"W": 2}),
    "L 100 uH 3 A": ("storage choke 100 uH", 2,
                     ("3 A, below 0.1 ohm", "150 uH 3 A", "100 uH 5 A"), {"A": 3}),
    "RN 8 x 1 k": ("eight single resistors 1 k, DIP-16", 16,
                   ("network 2 %", "network 5 %", "eight of 1 k upright"), {"W": 0.25}),
    "RN 8 x 10 k": ("eight resistors 10 k with a common pin, SIP-9", 9,
                    ("network 2 %", "network 5 %", "eight of 10 k upright"), {"W": 0.125}),
    "relay 30 A": ("vehicle relay, coil 12 V without a diode inside, contact 30 A", 4,
                   ("plug-in, 4 pins", "plug-in, 5 pins, 87a open", "40 A, plug-in"),
                   {"A": 30}),
    "emergency stop": ("mushroom push button, latching, contact that opens positively", 2,
                       ("panel 22 mm", "panel 30 mm", "in a box with cable gland"), {"A": 3}),
    "start button": ("push button, closes while pressed", 2,
                     ("panel 22 mm, green", "panel 16 mm", "key switch, springs back"), {"A": 3}),
    "crystal 8 MHz": ("crystal 8 MHz, load 18 to 20 pF", 2,
                      ("HC-49/S, 30 ppm", "HC-49/U, 30 ppm",
                       "16 MHz, and CAN_MHZ = 16 in wiring.py"), {}),
    "jumper": ("two pins and a jumper", 2, ("pitch 2.54 mm", "a switch", "a wire bridge"), {}),
    "test point": ("loop for a test clip", 1, ("1.3 mm pin", "loop of bare wire", "screw"), {}),
}  # fmt: skip
CAPACITORS = {
    "C 22 pF 50 V": ceramic("22 pF", 50, "ceramic C0G 1206"),
    "C 100 pF 50 V": ceramic("100 pF", 50, "ceramic C0G 1206"),
    "C 10 nF 50 V": ceramic("10 nF", 50, "ceramic X7R 1206"),
    "C 100 nF 50 V": ceramic("100 nF", 50, "ceramic X7R 1206"),
    "C 100 nF 100 V": ceramic("100 nF", 100, "ceramic X7R 1210"),
    "C 470 nF 250 V": ceramic("470 nF", 250, "two of 220 nF"),
    "C 10 uF 35 V +": electrolytic("10 uF", 35, 0.2),
    "C 100 uF 100 V +": electrolytic("100 uF", 100, 0.6),
    "C 100 uF 160 V +": electrolytic("100 uF", 160, 0.8),
    "C 470 uF 63 V +": electrolytic("470 uF", 63, 1.5),
    "C 470 uF 160 V +": electrolytic("470 uF", 160, 1.9),
    "C 1000 uF 10 V +": electrolytic("1000 uF", 10, 1.2),
}

ITEMS: dict[str, Item] = {
    **{f"R {value}": small_resistor(value) for value in VALUES},
    **CAPACITORS,
    **{f"fuse {amps}": Item(f"blade fuse {amps}", 2,
                            ("blade, 32 V DC", "blade, 58 V DC", "glass 6.3 x 32 mm, slow"),
                            {"V": volts}) for amps, volts in FUSES.items()},
    **{f"board {name}": Item(facts.title, 2 * facts.rows, facts.choices)
       for name, facts in ((name, boards.board(name)) for name in boards.names())},
    **{f"terminal {pins}": terminal(pins) for pins in (2, 3, 4, 6, 9)},
    **{name: Item(*row) for table in (CIRCUITS, TRANSISTORS, DIODES, OTHERS)
       for name, row in table.items()},
}  # fmt: skip
