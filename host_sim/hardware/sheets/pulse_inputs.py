"""Ground speed and flow: one circuit for open collector, reed, Hall and 12 V push-pull.

3.3 k pull the cable up to the sensor's supply, so that what only pulls down works as well as what
drives both ways. 22 k over 15 k put the thresholds of the Schmitt trigger at about a third of
12 V; the diode leads what is above 3.3 V into the supply. Two inverters in a row keep the sense.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Part, Port, Sheet
from host_sim.hardware.sheets.parts import (
    bypass,
    capacitor,
    chip,
    clamp,
    connector,
    resistor,
    two,
)

REED = "Close this jumper for a reed switch only: it slows the input to some 200 pulses a second."


def sheet() -> Sheet:
    """The page."""
    inverters = {
        1: "SPEED_LOW", 2: "SPEED_NOT", 3: "SPEED_NOT", 4: "SPEED_OUT",
        5: "FLOW_LOW", 6: "FLOW_NOT", 9: "FLOW_NOT", 8: "FLOW_OUT",
        11: "GND", 13: "GND", 10: "", 12: "", 14: "3V3", 7: "GND",
    }  # fmt: skip
    return Sheet(
        "pulse inputs",
        (
            *channel("SPEED", 0, 16), *channel("FLOW", 1, 46),
            chip("U3", "74HC14", inverters, (70, 32)), bypass("C13", "3V3", (62, 60)),
            resistor("R25", "10 k", ("TEST", "GND"), (90, 35)),
            two("JP", "JP3", "jumper", "self-test", ("SPEED", "TEST"), (98, 25)),
            two("JP", "JP4", "jumper", "self-test", ("FLOW", "TEST"), (98, 40), "down"),
        ),
        (Port("SPEED", (104, 17), "right"), Port("FLOW", (104, 47), "right"),
         Port("TEST", (104, 32), "right")),
        (Note(REED, (8, 66)),),
    )  # fmt: skip


def channel(name: str, index: int, y: int) -> tuple[Part, ...]:
    """One sensor, from its terminals to the Schmitt trigger and on to the pin."""
    first = 10 + 5 * index  # of the resistors
    cable, low, reed, out = f"{name}_IN", f"{name}_LOW", f"{name}_REED", f"{name}_OUT"
    return (
        connector(f"J{3 + index}", f"{name.lower()} sensor", ("V_SENSOR", cable, "GND"), (8, y),
                  "right"),
        resistor(f"R{first}", "3.3 k", ("V_SENSOR", cable), (22, y - 4)),
        resistor(f"R{first + 1}", "22 k", (cable, low), (29, y + 1), "left"),
        resistor(f"R{first + 2}", "15 k", (low, "GND"), (35, y + 5)),
        capacitor(f"C{9 + 2 * index}", "C 100 pF 50 V", (low, "GND"), (41, y + 5)),
        two("JP", f"JP{1 + index}", "jumper", "reed", (low, reed), (48, y + 5)),
        capacitor(f"C{10 + 2 * index}", "C 100 nF 50 V", (reed, "GND"), (48, y + 11)),
        clamp(f"D{10 + index}", low, (54, y - 2)),
        resistor(f"R{first + 3}", "2.2 k", (out, name), (86, y + 1), "left"),
        resistor(f"R{first + 4}", "47 k", ("3V3", name), (93, y - 3)),
    )  # fmt: skip
