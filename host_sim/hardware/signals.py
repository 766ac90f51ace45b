"""What every pin table may name: the signals between chip and circuit, whatever the board."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Signal:
    """One name in the pin tables.

    `direction` is the pin's; `pull` is what a resistor outside the chip holds it at while the
    chip is in reset or a cable is pulled ("up", "down" or ""); `peripheral` is what in the chip
    it needs ("" for a plain pin); `load_ma` is the most that the circuit makes it give or take,
    checked against the circuit by tests/host/hardware; `moves` says whether something outside
    moves when this output does.
    """

    name: str
    direction: str
    pull: str
    peripheral: str
    load_ma: float
    moves: bool
    leads_to: str

    @property
    def is_output(self) -> bool:
        """Whether the chip drives it, always or at times."""
        return self.direction != "in"


SIGNALS = tuple(Signal(*row) for row in (
    ("SPEED", "in", "up", "counter", 0, False, "ground-speed pulses; the rising edge counts"),
    ("FLOW", "in", "up", "counter", 0, False, "flow-meter pulses; the rising edge counts"),
    ("MASTER", "in", "up", "", 0, False, "master switch to ground: closed is on"),
    ("IMPLEMENT", "in", "up", "", 0, False,
     "implement switch to ground: closed is down, or as the settings say"),
    ("SUPPLY", "in", "", "adc", 0, False,
     "supply over a divider of 68 k and 10 k, 100 nF across the 10 k"),
    ("PRESSURE", "in", "", "adc", 0, False,
     "pressure sensor over a divider of 10 k and 18 k, 100 nF across the 18 k"),
    ("PUMP", "out", "down", "pwm", 1, True,
     "PWM to the driver of the pump or of the proportional valve"),
    ("VALVE_OPEN", "out", "down", "one shot", 1, True, "regulating valve, bridge input that opens"),
    ("VALVE_CLOSE", "out", "down", "one shot", 1, True,
     "regulating valve, bridge input that closes"),
    ("SECTION_CLOCK", "out", "down", "spi clock", 1, False,
     "SRCLK of the 74HCT595 and CLK of the 74HC165"),
    ("SECTION_DATA", "out", "down", "spi out", 1, False, "SER of the 74HCT595"),
    ("SWITCH_DATA", "in", "up", "spi in", 0, False, "QH of the 74HC165"),
    ("SECTION_LATCH", "out", "up", "", 1, False, "RCLK of the 74HCT595 and SH/LD of the 74HC165"),
    ("SECTION_OFF", "out", "up", "", 1, True, "OE of the 74HCT595: high is off"),
    ("ENCODER_A", "in", "up", "", 0, False, "encoder A; rises first when turned clockwise"),
    ("ENCODER_B", "in", "up", "", 0, False, "encoder B"),
    ("PUSH", "in", "up", "", 0, False, "push of the encoder to ground"),
    ("BACK", "in", "up", "", 0, False, "back key to ground"),
    ("LAMP", "out", "down", "", 2, False, "lamp"),
    ("BUZZER", "out", "down", "", 2, False, "buzzer"),
    ("I2C_DATA", "both", "up", "i2c data", 3, False, "SDA of the display, 4.7 k to 3.3 V"),
    ("I2C_CLOCK", "out", "up", "i2c clock", 3, False, "SCL of the display, 4.7 k to 3.3 V"),
    ("GNSS_RX", "in", "up", "uart in", 0, False,
     "TX of a GNSS receiver, 3.3 V (`boards/wiring.py`)"),
    ("CAN_SELECT", "out", "up", "", 1, False,
     "CS of the MCP2515, a CAN controller on the lines of the section registers"),
    ("CARD_SELECT", "out", "up", "uart out", 1, False,
     "CS of an SD card on the lines of the section registers"),
    ("TEST", "out", "down", "one shot", 4, False, "pulses for the self-test; nothing in the field"),
))  # fmt: skip
BY_NAME = {signal.name: signal for signal in SIGNALS}
# What a board may do without: its chip has no port, or no pin, left for it.
OPTIONAL = {"GNSS_RX", "CAN_SELECT", "CARD_SELECT", "PRESSURE"}
# Outputs that boot.py need not drive: an idle bus.
NOT_DRIVEN_AT_BOOT = {
    "SECTION_CLOCK", "SECTION_DATA", "SECTION_LATCH", "I2C_DATA", "I2C_CLOCK",
}  # fmt: skip
