"""Every output to its safe level: what boot.py does before anything else."""

import sys

from machine import Pin


def pins_of(platform=sys.platform):
    """Return the pin table of this kind of chip."""
    if platform == "esp32":
        from boards import esp32_pins as pins
    else:
        from boards import rp2_pins as pins
    return pins


def outputs_off(pins):
    """Drive every output of a pin table to its safe level, as plain pins."""
    for number in pins.OUTPUTS_HIGH:
        Pin(number, Pin.OUT, value=1)
    for number in pins.OUTPUTS_LOW:
        Pin(number, Pin.OUT, value=0)
