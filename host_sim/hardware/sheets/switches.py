"""Master, implement and section switches, and the two shift registers.

The lines to the 74HCT595 have 1 k each, so that a board on USB power alone does not feed the 5 V
through the chip's inputs, and their resistors sit on its side: they hold with the board pulled
out. SECTION_OFF is held by 5 V for the same reason, for 3.3 V goes away with the board; 10 k over
15 k make 3 V of it, which is high for the chip and harmless for the pin.

The 74HC165 always drives its output; 2.2 k behind it let another chip on the bus have its say.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Part, Port, Sheet
from host_sim.hardware.sheets.parts import bypass, capacitor, chip, clamp, connector, resistor

SECTIONS = range(1, 9)


def sheet() -> Sheet:
    """The page."""
    switches_in = {11: 1, 12: 2, 13: 3, 14: 4, 3: 5, 4: 6, 5: 7, 6: 8}
    reading = {pin: f"SWITCH_{number}" for pin, number in switches_in.items()} | {
        1: "SECTION_LATCH", 2: "SECTION_CLOCK", 15: "GND", 10: "GND", 9: "SWITCH_OUT", 7: "",
        16: "3V3", 8: "GND",
    }  # fmt: skip
    driving = {pin: f"SECTION_{number}" for pin, number
               in zip((15, 1, 2, 3, 4, 5, 6, 7), SECTIONS, strict=True)} | {
        9: "", 10: "V5", 11: "CLOCK_5", 12: "LATCH_5", 13: "OFF_5", 14: "DATA_5", 16: "V5",
        8: "GND",
    }  # fmt: skip
    return Sheet(
        "switches and section registers",
        (
            *one_switch("MASTER", 0, 8), *one_switch("IMPLEMENT", 1, 60),
            connector("J7", "section switches", (*(f"WIRE_{n}" for n in SECTIONS), "GND"), (8, 26),
                      "right"),
            Part("RN1", "RN_EACH", "8 x 1 k", "RN 8 x 1 k",
                 {str(n): f"WIRE_{n}" for n in SECTIONS}
                 | {str(17 - n): f"SWITCH_{n}" for n in SECTIONS}, (22, 30)),
            chip("U4", "74HC165", reading, (46, 31), labelled=True),
            Part("RN2", "RN_BUS", "8 x 10 k", "RN 8 x 10 k",
                 {"1": "3V3"} | {str(n + 1): f"SWITCH_{n}" for n in SECTIONS}, (26, 48),
                 labelled=True),
            resistor("R30", "10 k", ("3V3", "SWITCH_DATA"), (74, 23)),
            resistor("R106", "2.2 k", ("SWITCH_OUT", "SWITCH_DATA"), (66, 28), "left"),
            chip("U5", "74HCT595", driving, (92, 30)),
            bypass("C16", "3V3", (40, 48)), bypass("C17", "V5", (50, 48)),
            *line("DATA", 31, (16, 62), "GND"), *line("CLOCK", 33, (44, 62), "GND"),
            *line("LATCH", 35, (60, 46), "V5"), *line("OFF", 38, (84, 46), "V5"),
        ),
        (Port("MASTER", (46, 13), "right"), Port("IMPLEMENT", (98, 13), "right"),
         Port("SWITCH_DATA", (80, 28), "right"),
         Port("SECTION_DATA", (16, 62), "left"), Port("SECTION_CLOCK", (44, 62), "left"),
         Port("SECTION_LATCH", (64, 48), "left"), Port("SECTION_OFF", (88, 48), "left")),
        (Note("Section 1 is QA of U5 and A of U4.", (88, 22)),),
    )  # fmt: skip


def one_switch(name: str, index: int, x: int) -> tuple[Part, ...]:
    """A switch to ground."""
    wire = f"{name}_IN"
    return (
        connector(f"J{5 + index}", name.lower(), (wire, "GND"), (x, 13), "right"),
        resistor(f"R{26 + 2 * index}", "1 k", (wire, name), (x + 10, 13), "left"),
        resistor(f"R{27 + 2 * index}", "10 k", ("3V3", name), (x + 18, 9)),
        capacitor(f"C{14 + index}", "C 100 nF 50 V", (name, "GND"), (x + 24, 17)),
        clamp(f"D{12 + index}", name, (x + 30, 9)),
    )


def line(name: str, first: int, at: tuple[int, int], held_by: str) -> tuple[Part, ...]:
    """A line to the 74HCT595 with its resistor, or divider, on that side."""
    chip_side, driver_side = f"SECTION_{name}", f"{name}_5"
    x, y = at if held_by == "GND" else (at[0] + 4, at[1] + 2)
    series = resistor(f"R{first}", "1 k", (chip_side, driver_side), (x + 6, y), "left")
    if held_by == "GND":
        return series, resistor(f"R{first + 1}", "10 k", (driver_side, "GND"), (x + 12, y + 4))
    return (series, resistor(f"R{first + 1}", "10 k", ("V5", driver_side), (x + 12, y - 4)),
            resistor(f"R{first + 2}", "15 k", (driver_side, "GND"), (x + 12, y + 4)))  # fmt: skip
