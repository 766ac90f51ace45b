"""Every output to its safe level: what boot.py does before anything else."""

import sys

from machine import Pin

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from types import ModuleType


def pins_of(platform: str = sys.platform) -> "ModuleType":
    """Return the pin table of this kind of chip."""
    if platform == "esp32":
        from boards import esp32_pins
        return esp32_pins
    from boards import rp2_pins
    return rp2_pins


def outputs_off(pins: "ModuleType") -> None:
    """Drive every output of a pin table to its safe level, as plain pins."""
    for number in pins.OUTPUTS_HIGH:
        Pin(number, Pin.OUT, value=1)
    for number in pins.OUTPUTS_LOW:
        Pin(number, Pin.OUT, value=0)
