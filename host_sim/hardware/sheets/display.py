"""Display and keys, lamp and buzzer: all of it on the panel, in the box.

A character display lives on 5 V and its port expander wants 3.5 V for a high level, so two
transistors stand between it and the pins, which bear no more than 3.3 V.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Part, Port, Sheet
from host_sim.hardware.sheets.parts import capacitor, connector, diode, resistor

KEYS = ("ENCODER_A", "ENCODER_B", "PUSH", "BACK")


def sheet() -> Sheet:
    """The page."""
    return Sheet(
        "display and keys",
        (
            connector("J21", "SSD1306 display", ("GND", "3V3", "I2C_CLOCK", "I2C_DATA"), (24, 16),
                      "left", labelled=True),
            connector("J22", "character display", ("GND", "V5", "CLOCK_LCD", "DATA_LCD"), (106, 24),
                      "left", labelled=True),
            *shifter("CLOCK", 76, (40, 30)), *shifter("DATA", 78, (74, 30)),
            connector("J23", "encoder", ("GND", "ENCODER_A", "ENCODER_B", "PUSH"), (10, 46),
                      "right"),
            connector("J24", "back key", ("BACK", "GND"), (10, 56), "right"),
            *(part for index, name in enumerate(KEYS) for part in key(name, index)),
            *signal("LAMP", 90, 72, 46), *signal("BUZZER", 93, 72, 57),
        ),
        (*(Port(name, (56, 46 + 4 * index), "right") for index, name in enumerate(KEYS)),
         Port("LAMP", (72, 46), "left"), Port("BUZZER", (72, 57), "left"),
         Port("I2C_CLOCK", (34, 31), "left"), Port("I2C_DATA", (70, 31), "left")),
        (Note("One display of the two. SSD1306: 128 x 64 dots, address 3C, 3.3 V.\n"
              "Character: HD44780 of 20 x 4 with port expander, address 27 or 3F, 5 V.", (34, 8)),),
    )  # fmt: skip


def shifter(name: str, first: int, at: tuple[int, int]) -> tuple[Part, ...]:
    """One line of the bus between 3.3 and 5 V, pulled up on both sides."""
    x, y = at
    near, far = f"I2C_{name}", f"{name}_LCD"
    return (
        resistor(f"R{first}", "4.7 k", ("3V3", near), (x, y - 5)),
        Part(f"Q{first}", "NMOS_SOT", "BSS138", "BSS138",
             {"1": "3V3", "2": near, "3": far}, (x + 8, y - 1)),
        resistor(f"R{first + 1}", "4.7 k", ("V5", far), (x + 17, y - 7)),
    )


def key(name: str, index: int) -> tuple[Part, ...]:
    """Pull-up and filter of a key or of a line of the encoder."""
    x = 22 + 9 * index
    return (
        resistor(f"R{80 + index}", "10 k", ("3V3", name), (x, 41)),
        capacitor(f"C{31 + index}", "C 10 nF 50 V", (name, "GND"), (x + 3, 66)),
    )


def signal(name: str, first: int, x: int, y: int) -> tuple[Part, ...]:
    """Lamp or buzzer on 5 V behind a transistor."""
    lamp = name == "LAMP"
    output = f"{name}_OUT"
    last = (resistor(f"R{first + 2}", "150", ("V5", f"{name}_FEED"), (x + 26, y - 8), "left")
            if lamp else diode(f"D{first}", "1N4148", output, "V5", (x + 22, y - 6)))  # fmt: skip
    feed = f"{name}_FEED" if lamp else "V5"
    return (
        resistor(f"R{first}", "2.2 k", (name, f"{name}_BASE"), (x + 5, y), "left"),
        resistor(f"R{first + 1}", "10 k", (f"{name}_BASE", "GND"), (x + 10, y + 4)),
        Part(f"Q{first}", "NPN", "BC337", "BC337",
             {"1": output, "2": f"{name}_BASE", "3": "GND"}, (x + 16, y)),
        last,
        connector(f"J{25 if lamp else 26}", name.lower(), (feed, output), (x + 36, y - 3), "left"),
    )  # fmt: skip
