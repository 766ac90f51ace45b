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
HELD = (
    ("low, by a pull-down to ground", "down"),
    ("high, by a pull-up to 3.3 V", "up"),
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


def held_table() -> str:
    """Which outputs are held low and which high, in the order of WIRES."""
    rows = [
        f"| {level} | "
        + ", ".join(f"`{name}`" for name, *held, _ in WIRES if held == ["out", resistor])
        + " |\n"
        for level, resistor in HELD
    ]
    return "| held | outputs |\n|---|---|\n" + "".join(rows)


def with_tables(text: str) -> str:
    """The page with each table between its marks replaced by the present one."""
    for chip, (_, pins) in CHIPS.items():
        text = between_marks(text, f"pins {chip}", pin_table(pins))
    return between_marks(text, "held", held_table())


def between_marks(text: str, name: str, table: str) -> str:
    """The page with what stands between the marks of this name replaced."""
    start, end = f"<!-- {name} -->\n", f"<!-- end {name} -->\n"
    before, _, rest = text.partition(start)
    _, mark, after = rest.partition(end)
    if not mark:
        raise ValueError(f"{WIRING_MD.name}: no marks for {name}")
    return before + start + table + end + after


def main() -> None:
    """Bring hardware/wiring.md up to date."""
    WIRING_MD.write_text(with_tables(WIRING_MD.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
