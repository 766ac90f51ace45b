"""What each pin of a board is wired to: the tables in hardware/wiring.md."""

from __future__ import annotations

from types import ModuleType

import host_sim
from boards import esp32_pins, rp2_pins

WIRING_MD = host_sim.REPO_ROOT / "hardware" / "wiring.md"
CHIPS: dict[str, tuple[str, ModuleType]] = {
    "rp2": ("RP2040 and RP2350, boards of the Pico shape", rp2_pins),
    "esp32": ("ESP32, module of the WROOM-32 kind", esp32_pins),
}

# Name in the pin tables, direction, resistor outside (it holds while the chip is in reset, and
# where the cable is pulled), what it leads to.
WIRES = (
    ("SPEED", "in", "up", "ground-speed pulses; the rising edge counts"),
    ("FLOW", "in", "up", "flow-meter pulses; the rising edge counts"),
    ("MASTER", "in", "up", "master switch to ground: closed is on"),
    ("IMPLEMENT", "in", "up", "implement switch to ground: closed is down (`boards/wiring.py`)"),
    ("SUPPLY", "in", "", "supply over a divider of 68 k and 10 k, 100 nF across the 10 k"),
    ("PUMP", "out", "down", "PWM to the driver of the pump or of the proportional valve"),
    ("VALVE_OPEN", "out", "down", "regulating valve, bridge input that opens"),
    ("VALVE_CLOSE", "out", "down", "regulating valve, bridge input that closes"),
    ("SECTION_CLOCK", "out", "down", "SRCLK of the 74HC595 and CLK of the 74HC165"),
    ("SECTION_DATA", "out", "down", "SER of the 74HC595"),
    ("SWITCH_DATA", "in", "up", "QH of the 74HC165"),
    ("SECTION_LATCH", "out", "up", "RCLK of the 74HC595 and SH/LD of the 74HC165"),
    ("SECTION_OFF", "out", "up", "OE of the 74HC595: high is off"),
    ("ENCODER_A", "in", "up", "encoder A; rises first when turned clockwise"),
    ("ENCODER_B", "in", "up", "encoder B"),
    ("PUSH", "in", "up", "push of the encoder to ground"),
    ("BACK", "in", "up", "back key to ground"),
    ("LAMP", "out", "down", "lamp"),
    ("BUZZER", "out", "down", "buzzer"),
    ("I2C_DATA", "both", "up", "SDA of the display, 4.7 k to 3.3 V"),
    ("I2C_CLOCK", "out", "up", "SCL of the display, 4.7 k to 3.3 V"),
    ("GNSS_RX", "in", "up", "TX of a GNSS receiver, 3.3 V (`boards/wiring.py`)"),
    ("GNSS_TX", "out", "", "RX of a GNSS receiver; nothing is sent"),
    ("TEST", "out", "down", "pulses for the self-test; nothing in the field"),
)
HEAD = "| GPIO | name | direction | resistor outside | leads to |\n|---|---|---|---|---|\n"


def pin_table(pins: ModuleType) -> str:
    """The table of one chip, in the order of WIRES."""
    rows = [
        f"| {getattr(pins, name)} | `{name}` | {direction} | {resistor or '-'} | {meaning} |\n"
        for name, direction, resistor, meaning in WIRES
        if hasattr(pins, name)
    ]
    return HEAD + "".join(rows)


def with_tables(text: str) -> str:
    """The page with each table between its marks replaced by the present one."""
    for chip, (_, pins) in CHIPS.items():
        start, end = f"<!-- pins {chip} -->\n", f"<!-- end pins {chip} -->\n"
        before, _, rest = text.partition(start)
        _, mark, after = rest.partition(end)
        if not mark:
            raise ValueError(f"{WIRING_MD.name}: no marks for {chip}")
        text = before + start + pin_table(pins) + end + after
    return text


def main() -> None:
    """Bring hardware/wiring.md up to date."""
    WIRING_MD.write_text(with_tables(WIRING_MD.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
