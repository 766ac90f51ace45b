"""What each pin of the RP2040/RP2350 is wired to, for hardware/wiring.md; no board loads this."""

from boards import rp2_pins as pins

# What each is wired to; "up" and "down": the resistor outside, which holds while the chip is in
# reset. Inputs have the chip's own pull-up as well.
TABLE = (
    (pins.SPEED, "in", "up", "ground-speed pulses, rising edge counts"),
    (pins.FLOW, "in", "up", "flow-meter pulses, rising edge counts"),
    (pins.MASTER, "in", "up", "master switch to ground: on"),
    (pins.IMPLEMENT, "in", "up", "implement switch to ground: down"),
    (pins.SUPPLY, "in", "", "supply over a divider of 68 k and 10 k"),
    (pins.PUMP, "out", "down", "PWM to the pump's or proportional valve's driver"),
    (pins.VALVE_OPEN, "out", "down", "regulating valve, bridge input: open"),
    (pins.VALVE_CLOSE, "out", "down", "regulating valve, bridge input: close"),
    (pins.SECTION_CLOCK, "out", "down", "shift clock: SRCLK of 74HC595, CLK of 74HC165"),
    (pins.SECTION_DATA, "out", "down", "SER of 74HC595"),
    (pins.SWITCH_DATA, "in", "up", "QH of 74HC165"),
    (pins.SECTION_LATCH, "out", "up", "RCLK of 74HC595 and SH/LD of 74HC165"),
    (pins.SECTION_OFF, "out", "up", "OE of 74HC595: high is off"),
    (pins.ENCODER_A, "in", "up", "encoder A"),
    (pins.ENCODER_B, "in", "up", "encoder B"),
    (pins.PUSH, "in", "up", "encoder push to ground"),
    (pins.BACK, "in", "up", "back key to ground"),
    (pins.LAMP, "out", "down", "lamp"),
    (pins.BUZZER, "out", "down", "buzzer"),
    (pins.I2C_DATA, "both", "up", "display SDA, 4.7 k to 3.3 V"),
    (pins.I2C_CLOCK, "out", "up", "display SCL, 4.7 k to 3.3 V"),
    (pins.GNSS_RX, "in", "up", "GNSS receiver TX"),
    (pins.GNSS_TX, "out", "", "GNSS receiver RX"),
    (pins.TEST, "out", "down", "self-test pulses; nothing wired in the field"),
)
