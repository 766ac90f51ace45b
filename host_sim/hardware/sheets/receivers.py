"""GNSS receiver and CAN; pressure input. Only boards with pins left have them.

The firmware reads the receiver. It has no driver for CAN and does not read the pressure: both are
wired so that they can be, and harm nothing until then. The CAN transceiver can only listen: its
input is held recessive.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Port, Sheet
from host_sim.hardware.sheets.parts import bypass, capacitor, chip, clamp, connector, resistor


def receiver() -> Sheet:
    """The page of receiver and CAN."""
    transceiver = {1: "CAN_QUIET", 2: "GND", 3: "V5", 4: "CAN_OUT", 5: "3V3", 6: "CAN_L",
                   7: "CAN_H", 8: "GND"}  # fmt: skip
    return Sheet(
        "receiver and CAN",
        (
            connector("J27", "GNSS receiver", ("V5", "GND", "GNSS_IN", "GNSS_TX"), (10, 16),
                      "right"),
            resistor("R100", "1 k", ("GNSS_IN", "GNSS_RX"), (24, 14), "left"),
            resistor("R101", "10 k", ("3V3", "GNSS_RX"), (32, 10)),
            chip("U8", "MCP2562", transceiver, (46, 40)),
            resistor("R102", "10 k", ("3V3", "CAN_QUIET"), (28, 34)),
            resistor("R103", "1 k", ("CAN_OUT", "CAN_RX"), (26, 46), "left"),
            bypass("C36", "V5", (64, 50)), bypass("C37", "3V3", (72, 50)),
            connector("J28", "CAN", ("CAN_H", "CAN_L", "GND"), (70, 38), "left"),
        ),
        (Port("GNSS_RX", (42, 14), "right"), Port("GNSS_TX", (42, 22), "right"),
         Port("CAN_RX", (38, 52), "right")),
        (Note("The firmware has no driver for CAN yet. The transceiver only listens: TXD is held "
              "high, so it can disturb nobody.", (6, 60)),),
    )  # fmt: skip


def pressure() -> Sheet:
    """The page of the pressure input."""
    return Sheet(
        "pressure input",
        (
            connector("J29", "pressure sensor", ("V5", "PRESSURE_IN", "GND"), (10, 20), "right"),
            resistor("R104", "10 k", ("PRESSURE_IN", "PRESSURE"), (24, 21), "left"),
            resistor("R105", "18 k", ("PRESSURE", "GND"), (32, 25)),
            capacitor("C38", "C 100 nF 50 V", ("PRESSURE", "GND"), (40, 25)),
            clamp("D40", "PRESSURE", (48, 17)),
        ),
        (Port("PRESSURE", (58, 21), "right"),),
        (Note("For a sensor of 0.5 to 4.5 V on 5 V: 0.32 to 2.89 V at the pin; a cut wire reads 0."
              "\nThe firmware does not read it yet.", (6, 40)),),
    )  # fmt: skip
