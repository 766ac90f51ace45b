"""Which pin of the ESP32 does what: the one table, also printed in hardware/wiring.md.

For a module of the WROOM-32 kind. GPIO6 to 11 are its flash, 1 and 3 its serial port; 34 to 39
are inputs without a pull-up of their own; 0 and 12 are read at reset and are left alone. GPIO14
and 15 move for a moment at reset, so nothing that could hurt is wired to them.
"""

PUMP = 25
VALVE_OPEN = 26
VALVE_CLOSE = 27
SECTION_CLOCK = 18  # VSPI
SECTION_DATA = 23
SWITCH_DATA = 19
SECTION_LATCH = 4
SECTION_OFF = 13  # high: all section outputs off

SPEED = 34
FLOW = 35
MASTER = 32
IMPLEMENT = 33
SUPPLY = 36  # ADC1

ENCODER_A = 16
ENCODER_B = 17
PUSH = 39
BACK = 5
LAMP = 2
BUZZER = 15
I2C_DATA = 21
I2C_CLOCK = 22
TEST = 14  # pulses for the self-test, idle otherwise

OUTPUTS_LOW = (PUMP, VALVE_OPEN, VALVE_CLOSE, LAMP, BUZZER, TEST)  # safe low
OUTPUTS_HIGH = (SECTION_OFF,)  # safe high

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
    (TEST, "out", "down", "self-test pulses; nothing wired in the field"),
)
