"""Which pin of the RP2040/RP2350 does what.

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
PRESSURE = 28  # ADC2

ENCODER_A = 10
ENCODER_B = 11
PUSH = 12
BACK = 13
LAMP = 14
BUZZER = 15
I2C_DATA = 20  # I2C0
I2C_CLOCK = 21

GNSS_RX = 1  # UART0
CAN_SELECT = 27  # of a CAN controller on SPI0
CARD_SELECT = 0  # of an SD card on SPI0
TEST = 22  # pulses for the self-test, idle otherwise

OUTPUTS_LOW = (PUMP, VALVE_OPEN, VALVE_CLOSE, LAMP, BUZZER, TEST)  # safe low
OUTPUTS_HIGH = (SECTION_OFF, CAN_SELECT, CARD_SELECT)  # safe high
