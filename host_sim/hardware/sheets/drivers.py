"""Pump, section valves and regulating valve: what carries their current.

The transistors stand 150 and 200 V, so that a load dump of 101 V makes none of them conduct; the
bridge does not and has a fuse, a resistor and a clamp of its own. All gates and inputs are held
off by resistors, with the controller unpowered or pulled out.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Part, Port, Sheet
from host_sim.hardware.sheets.parts import (
    bypass,
    capacitor,
    chip,
    connector,
    diode,
    resistor,
)
from host_sim.hardware.sheets.switches import SECTIONS


def pump() -> Sheet:
    """The page of the pump's driver."""
    driver = {1: "", 2: "PUMP_5", 3: "GND", 4: "GND", 5: "", 6: "V_GATE", 7: "GATE_OUT", 8: ""}
    return Sheet(
        "pump driver",
        (
            resistor("R41", "1 k", ("PUMP", "PUMP_5"), (14, 30), "left"),
            resistor("R42", "10 k", ("PUMP_5", "GND"), (20, 34)),
            chip("U6", "TC4427A", driver, (34, 32)),
            resistor("R43", "10", ("GATE_OUT", "PUMP_GATE"), (47, 30), "left"),
            resistor("R44", "10 k", ("PUMP_GATE", "GND"), (53, 34)),
            Part("Q1", "NMOS", "IRFB4115", "IRFB4115",
                 {"1": "PUMP_GATE", "2": "PUMP_OUT", "3": "GND"}, (62, 30)),
            Part("D14", "D2", "MBR20200CT", "MBR20200CT",
                 {"1": "PUMP_OUT", "2": "V_PUMP", "3": "PUMP_OUT"}, (74, 22)),
            connector("J10", "pump", ("V_PUMP", "PUMP_OUT"), (90, 27), "left"),
            *(capacitor(f"C{20 + n}", "C 470 uF 160 V +", ("V_PUMP", "GND"), (64 + 10 * n, 44))
              for n in range(3)),
            capacitor("C23", "C 470 nF 250 V", ("V_PUMP", "GND"), (94, 44)),
            resistor("R45", "220", ("V_PROT", "V_GATE"), (14, 12), "left", item="R 220 2 W"),
            diode("D15", "1N4744A", "GND", "V_GATE", (26, 14), kind="DZ"),
            capacitor("C24", "C 10 uF 35 V +", ("V_GATE", "GND"), (34, 14)),
            bypass("C25", "V_GATE", (42, 14)),
            Part("TP8", "TP", "V_GATE", "test point", {"1": "V_GATE"}, (52, 14)),
        ),
        (Port("PUMP", (8, 30), "left"),),
        (Note("Keep the loop C20-C23, D14, Q1 short: 10 A stop in it ten thousand times a second.\n"
              "Up to 8 A. Heat sink for Q1 and D14 as the margins table says.", (6, 56)),),
    )  # fmt: skip


def sections() -> Sheet:
    """The page of the section drivers."""
    parts = [part for number in SECTIONS for part in one_section(number)]
    parts += [capacitor("C26", "C 100 uF 160 V +", ("V_VALVE", "GND"), (12, 72)),
              capacitor("C27", "C 470 nF 250 V", ("V_VALVE", "GND"), (22, 72))]  # fmt: skip
    ports = tuple(Port(f"SECTION_{number}", corner(number), "left") for number in SECTIONS)
    return Sheet("section drivers", tuple(parts), ports,
                 (Note("Up to 1 A for each valve, 8 A for all.", (34, 71)),))  # fmt: skip


def corner(number: int) -> tuple[int, int]:
    """Where a section's driver begins on its page: two columns of four."""
    column, row = divmod(number - 1, 4)
    return 16 + 54 * column, 14 + 15 * row


def one_section(number: int) -> tuple[Part, ...]:
    """The driver of one section valve."""
    x, y = corner(number)
    line, gate, drain = f"SECTION_{number}", f"GATE_{number}", f"VALVE_{number}"
    return (
        resistor(f"R{50 + number}", "100", (line, gate), (x + 5, y), "left"),
        resistor(f"R{60 + number}", "10 k", (gate, "GND"), (x + 10, y + 4)),
        Part(f"Q{10 + number}", "NMOS", "IRL640", "IRL640",
             {"1": gate, "2": drain, "3": "GND"}, (x + 19, y)),
        diode(f"D{20 + number}", "UF4004", drain, "V_VALVE", (x + 26, y - 4)),
        connector(f"J{10 + number}", f"section {number}", ("V_VALVE", drain), (x + 38, y - 3),
                  "left"),
    )  # fmt: skip


def bridge() -> Sheet:
    """The page of the regulating valve's bridge."""
    chip_nets = {
        1: "GND", 2: "VALVE_A", 3: "VALVE_B", 4: "V_BRIDGE", 5: "OPEN_5", 6: "V5", 7: "CLOSE_5",
        8: "GND", 9: "V5", 10: "GND", 11: "GND", 12: "GND", 13: "", 14: "", 15: "GND",
    }  # fmt: skip
    return Sheet(
        "valve bridge",
        (
            resistor("R71", "1 k", ("VALVE_OPEN", "OPEN_5"), (18, 20), "left"),
            resistor("R72", "10 k", ("OPEN_5", "GND"), (24, 24)),
            resistor("R73", "1 k", ("VALVE_CLOSE", "CLOSE_5"), (18, 34), "left"),
            resistor("R74", "10 k", ("CLOSE_5", "GND"), (24, 38)),
            chip("U7", "L298N", chip_nets, (46, 24)),
            diode("D31", "UF4004", "VALVE_A", "V_BRIDGE", (60, 14)),
            diode("D32", "UF4004", "GND", "VALVE_A", (60, 26)),
            diode("D33", "UF4004", "VALVE_B", "V_BRIDGE", (70, 14)),
            diode("D34", "UF4004", "GND", "VALVE_B", (70, 26)),
            connector("J20", "regulating valve", ("VALVE_A", "VALVE_B"), (84, 20), "left"),
            resistor("R75", "2.2", ("BRIDGE_FUSED", "V_BRIDGE"), (22, 50), "left",
                     item="R 2.2 10 W"),
            diode("D35", "5KP24A", "GND", "V_BRIDGE", (34, 52), kind="DT"),
            capacitor("C28", "C 470 uF 63 V +", ("V_BRIDGE", "GND"), (42, 52)),
            capacitor("C29", "C 100 nF 100 V", ("V_BRIDGE", "GND"), (53, 52)),
            bypass("C30", "V5", (64, 52)),
            Part("TP9", "TP", "V_BRIDGE", "test point", {"1": "V_BRIDGE"}, (76, 52)),
        ),
        (Port("VALVE_OPEN", (14, 20), "left"), Port("VALVE_CLOSE", (14, 34), "left")),
        (Note("Both inputs low, or both high: the motor brakes. Up to 1 A.", (6, 62)),),
    )  # fmt: skip
