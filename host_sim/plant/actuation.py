"""What the board's pins do to the machine."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Actuation:
    """The pins during the next interval."""

    duty: float = 0.0  # 0..1, PWM of a pump or a proportional valve
    valve_pulse_ms: int = 0  # regulating valve's motor: this long from now, + opens, - closes
    section_mask: int = 0  # bit i set: section valve i is driven open
