"""GNSS receiver, CAN, SD card; pressure input. Only boards with pins left have them.

The firmware reads the receiver, over the lines of the section registers the CAN controller, and the
pressure where it is asked to; it writes to the card over the same lines. The CAN transceiver can
only listen: its input is held recessive, and the controller's output stays open.
"""

from __future__ import annotations

from host_sim.hardware.circuit import Note, Port, Sheet
from host_sim.hardware.sheets.parts import bypass, capacitor, chip, clamp, connector, resistor, two


def receiver() -> Sheet:
    """The page of receiver and CAN."""
    transceiver = {1: "CAN_QUIET", 2: "GND", 3: "V5", 4: "CAN_OUT", 5: "3V3", 6: "CAN_L",
                   7: "CAN_H", 8: "GND"}  # fmt: skip
    controller = {
        1: "", 2: "CAN_OUT", 3: "", 4: "", 5: "", 6: "", 7: "CAN_XTAL_2", 8: "CAN_XTAL_1", 9: "GND",
        10: "", 11: "", 12: "", 13: "SECTION_CLOCK", 14: "SECTION_DATA", 15: "SWITCH_DATA",
        16: "CAN_SELECT", 17: "CAN_RESET", 18: "3V3",
    }  # fmt: skip
    return Sheet(
        "receiver and CAN",
        (
            connector("J27", "GNSS receiver", ("V5", "GND", "GNSS_IN"), (10, 16), "right"),
            resistor("R100", "1 k", ("GNSS_IN", "GNSS_RX"), (24, 14), "left"),
            resistor("R101", "10 k", ("3V3", "GNSS_RX"), (32, 10)),
            chip("U8", "MCP2562", transceiver, (46, 40)),
            resistor("R102", "10 k", ("3V3", "CAN_QUIET"), (28, 34)),
            chip("U9", "MCP2515", controller, (76, 20)),
            resistor("R103", "10 k", ("3V3", "CAN_SELECT"), (62, 24), "left"),
            resistor("R107", "10 k", ("3V3", "CAN_RESET"), (62, 28), "left"),
            two("Y", "Y1", "crystal 8 MHz", "8 MHz", ("CAN_XTAL_1", "CAN_XTAL_2"), (20, 56),
                "left"),
            capacitor("C40", "C 22 pF 50 V", ("CAN_XTAL_1", "GND"), (14, 60)),
            capacitor("C41", "C 22 pF 50 V", ("CAN_XTAL_2", "GND"), (26, 60)),
            bypass("C36", "V5", (64, 50)), bypass("C37", "3V3", (72, 50)),
            bypass("C42", "3V3", (80, 50)),
            connector("J30", "SD card", ("3V3", "GND", "SECTION_CLOCK", "SECTION_DATA",
                                         "SWITCH_DATA", "CARD_SELECT"), (100, 36), "left",
                      labelled=True),
            resistor("R108", "10 k", ("3V3", "CARD_SELECT"), (92, 54), "left"),
            connector("J28", "CAN", ("CAN_H", "CAN_L", "GND"), (70, 38), "left"),
        ),
        (Port("GNSS_RX", (42, 14), "right"), Port("CARD_SELECT", (100, 54), "right"),
         Port("SECTION_CLOCK", (64, 16), "left"), Port("SECTION_DATA", (64, 17), "left"),
         Port("SWITCH_DATA", (64, 18), "left"), Port("CAN_SELECT", (64, 19), "left")),
        (Note("TXD is held high, so nobody is disturbed: something else on the bus must "
              "acknowledge.", (30, 64)),
         Note("A bare socket: 3.3 V, no regulator, no level shifter.", (88, 50)),),
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
              "\nOne of 4 to 20 mA: fed from V_SENSOR, 150 ohm from PRESSURE_IN to GND at the "
              "terminal.", (6, 40)),),
    )  # fmt: skip
