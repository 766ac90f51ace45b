"""Battery to 5 V for the controller, and battery to pump and valves through the emergency stop.

The two have a fuse each at the battery and share nothing but its terminals. One diode for 400 V
keeps out a reversed battery and the negative pulses of ISO 7637-2; a resistor lets the clamp
outlive a load dump that nothing else suppresses.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Part, Port, Sheet
from host_sim.hardware.sheets.parts import capacitor, chip, connector, diode, resistor, two

TEST_POINTS = ("V_PROT", "V5", "VSYS", "3V3", "V_SENSOR", "V_LOAD", "GND")


def sheet() -> Sheet:
    """The page."""
    return Sheet(
        "supply",
        (*controller_side(), *load_side(), *test_points()),
        (Port("SUPPLY", (42, 22), "right"),),
        (
            Note("Controller: its own fuse and its own wires to the battery, ground included.",
                 (8, 7)),
            Note("Pump and valves: S2 closes relay K1, which then holds itself, only while the "
                 "emergency stop S1 is closed\nand the battery is the right way round. Released, "
                 "S1 starts nothing.\nA relay can weld: the machine needs a main switch as well.",
                 (6, 56)),
        ),
    )  # fmt: skip


def controller_side() -> tuple[Part, ...]:
    """From the battery to 5 V."""
    return (
        connector("J1", "battery, controller", ("BATT_IN", "GND"), (8, 14), "right"),
        two("F", "F1", "fuse 2 A", "2 A", ("BATT_IN", "BATT"), (14, 14), "left"),
        resistor("R1", "68 k", ("BATT", "SUPPLY"), (20, 18)),
        resistor("R2", "10 k", ("SUPPLY", "GND"), (20, 26)),
        capacitor("C1", "C 100 nF 50 V", ("SUPPLY", "GND"), (26, 26)),
        diode("D1", "BAT85", "SUPPLY", "3V3", (32, 20), kind="DS"),
        diode("D2", "BAT85", "GND", "SUPPLY", (32, 26), kind="DS"),
        diode("D3", "1N5404", "BATT", "BATT_DIODE", (26, 14), "right"),
        resistor("R3", "6.8", ("BATT_DIODE", "V_PROT"), (34, 14), "left", item="R 6.8 10 W"),
        diode("D4", "5KP33A", "GND", "V_PROT", (42, 16), kind="DT"),
        capacitor("C2", "C 100 uF 100 V +", ("V_PROT", "GND"), (48, 16)),
        capacitor("C3", "C 100 nF 100 V", ("V_PROT", "GND"), (56, 16)),
        chip("U2", "LM2576", {1: "V_PROT", 2: "SWITCH", 3: "GND", 4: "V5", 5: "GND"}, (74, 16)),
        diode("D5", "SB5100", "GND", "SWITCH", (82, 18), kind="DS"),
        two("L", "L1", "L 100 uH 3 A", "100 uH", ("SWITCH", "V5"), (88, 15), "left"),
        capacitor("C4", "C 1000 uF 10 V +", ("V5", "GND"), (82, 30)),
        resistor("R4", "1 k", ("V5", "POWER_LED"), (92, 30)),
        diode("D6", "LED", "POWER_LED", "GND", (92, 36), "down", kind="LED"),
        diode("D7", "1N5817", "V5", "VSYS", (103, 15), "right", kind="DS"),
        two("F", "F2", "fuse 0.5 A", "0.5 A", ("V_PROT", "V_SENSOR"), (103, 24), "left"),
    )  # fmt: skip


def load_side() -> tuple[Part, ...]:
    """From the battery over emergency stop and relay to the fuses of pump and valves."""
    coil = {"86": "COIL", "85": "GND", "30": "LOAD", "87": "V_LOAD"}
    return (
        connector("J2", "battery, loads", ("LOAD_IN", "GND"), (8, 44), "right"),
        two("F", "F3", "fuse 25 A", "25 A", ("LOAD_IN", "LOAD"), (14, 44), "left"),
        two("F", "F4", "fuse 1 A", "1 A", ("LOAD", "START_FUSED"), (17, 40), "down"),
        diode("D8", "1N4007", "START_FUSED", "START_IN", (22, 36), "right"),
        two("S", "S2", "start button", "start", ("START_IN", "STOP_IN"), (30, 36), "left"),
        two("F", "F8", "fuse 1 A", "1 A", ("V_LOAD", "HOLD"), (24, 32), "left"),
        diode("D16", "1N4007", "HOLD", "STOP_IN", (31, 32), "right"),
        two("S", "S1", "emergency stop", "emergency stop", ("STOP_IN", "COIL"), (41, 36), "left"),
        diode("D9", "1N4007", "GND", "COIL", (44, 44)),
        Part("K1", "K", "12 V, 30 A", "relay 30 A", coil, (52, 44)),
        two("F", "F5", "fuse 15 A", "15 A", ("V_LOAD", "V_PUMP"), (68, 38), "left"),
        two("F", "F6", "fuse 10 A", "10 A", ("V_LOAD", "V_VALVE"), (68, 43), "left"),
        two("F", "F7", "fuse 3 A", "3 A", ("V_LOAD", "BRIDGE_FUSED"), (68, 48), "left"),
    )  # fmt: skip


def test_points() -> tuple[Part, ...]:
    """Where first_power.md puts the meter."""
    return tuple(
        Part(f"TP{number}", "TP", net, "test point", {"1": net}, (74 + 9 * (number % 4),
                                                                 46 + 7 * (number // 4)))
        for number, net in enumerate(TEST_POINTS, 1)
    )  # fmt: skip
