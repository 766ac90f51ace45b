"""Which pin of the RP2040/RP2350 does what: the one table, also printed in hardware/wiring.md.

Chosen so that nothing shares what cannot be shared: the pump's PWM slice has no other user,
SPI0 and I2C0 sit on pins that their multiplexers reach, and every pin is brought out on a board
of the Pico shape. GP23, GP24, GP25 and GP29 are left to the board itself, wireless included.
"""

PUMP = 7  # PWM slice 3B
VALVE_OPEN = 8
VALVE_CLOSE = 9
SECTION_CLOCK = 2  # SPI0
SECTION_DATA = 3
SWITCH_DATA = 4
SECTION_LATCH = 5
SECTION_OFF = 6  # high: all section outputs off

SPEED = 18
FLOW = 19
MASTER = 16
IMPLEMENT = 17
SUPPLY = 26  # ADC0

ENCODER_A = 10
ENCODER_B = 11
PUSH = 12
BACK = 13
LAMP = 14
BUZZER = 15
I2C_DATA = 20  # I2C0
I2C_CLOCK = 21

GNSS_RX = 1  # UART0
GNSS_TX = 0
TEST = 22  # pulses for the self-test, idle otherwise

OUTPUTS_LOW = (PUMP, VALVE_OPEN, VALVE_CLOSE, LAMP, BUZZER, TEST)  # safe low
OUTPUTS_HIGH = (SECTION_OFF,)  # safe high

# What each is wired to; "up" and "down": the resistor outside, which holds while the chip is in
# reset. Inputs have the chip's own pull-up as well.
TABLE = (
    (SPEED, "in", "up", "ground-speed pulses, rising edge counts"),
    (FLOW, "in", "up", "flow-meter pulses, rising edge counts"),
    (MASTER, "in", "up", "master switch to ground: on"),
    (IMPLEMENT, "in", "up", "implement switch to ground: down"),
    (SUPPLY, "in", "", "supply over a divider of 68 k and 10 k"),
    (PUMP, "out", "down", "PWM to the pump's or proportional valve's driver"),
    (VALVE_OPEN, "out", "down", "regulating valve, bridge input: open"),
    (VALVE_CLOSE, "out", "down", "regulating valve, bridge input: close"),
    (SECTION_CLOCK, "out", "down", "shift clock: SRCLK of 74HC595, CLK of 74HC165"),
    (SECTION_DATA, "out", "down", "SER of 74HC595"),
    (SWITCH_DATA, "in", "up", "QH of 74HC165"),
    (SECTION_LATCH, "out", "up", "RCLK of 74HC595 and SH/LD of 74HC165"),
    (SECTION_OFF, "out", "up", "OE of 74HC595: high is off"),
    (ENCODER_A, "in", "up", "encoder A"),
    (ENCODER_B, "in", "up", "encoder B"),
    (PUSH, "in", "up", "encoder push to ground"),
    (BACK, "in", "up", "back key to ground"),
    (LAMP, "out", "down", "lamp"),
    (BUZZER, "out", "down", "buzzer"),
    (I2C_DATA, "both", "up", "display SDA, 4.7 k to 3.3 V"),
    (I2C_CLOCK, "out", "up", "display SCL, 4.7 k to 3.3 V"),
    (GNSS_RX, "in", "up", "GNSS receiver TX"),
    (GNSS_TX, "out", "", "GNSS receiver RX"),
    (TEST, "out", "down", "self-test pulses; nothing wired in the field"),
)
