"""Which pin of the rig leads to which signal of the controller: an RP2040/RP2350 of the Pico shape.

Each stands at the number that the controller's own table has for it, so that two boards of the
Pico shape are wired pin to pin of the same number. Names are those of the controller: what is an
output there is an input here. `host_sim/hardware/rig_rules.py` checks it when the rig is built.
"""

SECTION_CLOCK = 2  # the register's program looks at three pins in a row
SECTION_DATA = 3
SWITCH_DATA = 4
SECTION_LATCH = 5
SECTION_OFF = 6

PUMP = 7
VALVE_OPEN = 8
VALVE_CLOSE = 9

MASTER = 16
IMPLEMENT = 17
SPEED = 18
FLOW = 19
SUPPLY = 26  # PWM slice 5A, over 1 k and 1 uF
