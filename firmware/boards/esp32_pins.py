"""Which pin of the ESP32 does what.

For a module of the WROOM-32 kind. GPIO6 to 11 are its flash, 1 and 3 its serial port; 34 to 39
are inputs without a pull-up of their own. 0, 2, 5, 12 and 15 are read at reset: 0 and 12 are left
alone, the lamp leaves 2 low, the back key leaves 5 high, and the buzzer's 15 only decides whether
the chip talks while it starts. GPIO14 and 15 move for a moment at reset, so nothing that could
hurt is wired to them.
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
