"""What speaks on the CAN bus of the twin: a receiver, and a tractor's speeds beside it.

Each report of the receiver becomes four messages, which carry the same as its sentences; the speed
of the wheels has their slip. What the messages mean: app/can_messages.py.
"""

from __future__ import annotations

import math
import struct

from app.can_messages import COURSE_PGN, GROUND_SPEED_PGN, POSITION_PGN, WHEEL_SPEED_PGN
from host_sim.plant.machine import Machine
from host_sim.twin.can_chip import CanChip, can_frame

RECEIVER, TRACTOR = 0x1C, 0xF0  # addresses, any
NONE_16, NONE_32 = 0xFFFF, 0x7FFFFFFF


def wired_chip(machine: Machine) -> CanChip:
    """A board's chip on the bus of a machine; it is deaf until the firmware starts it."""
    chip = CanChip()
    machine.gnss.bus = CanBus(chip, machine.spec.ground.slip_share)
    return chip


class CanBus:
    """The bus in front of the board's chip. `slip_share` is that of the wheels."""

    def __init__(self, chip: CanChip, slip_share: float) -> None:
        self._chip = chip
        self._slip_share = slip_share
        self._number = 0

    def report(self, place: tuple[float, float] | None, course_deg: float, speed_m_s: float
               ) -> None:
        """Say where the antenna is, in degrees, and how it moves; None without a fix."""
        self._number = (self._number + 1) % 253
        latitude, longitude = (round(angle * 1e7) for angle in place) if place else (NONE_32,) * 2
        course = round(math.radians(course_deg % 360) * 1e4) if place else NONE_16
        speed = round(speed_m_s * 100) if place else NONE_16
        self._say(POSITION_PGN, struct.pack("<ii", latitude, longitude), RECEIVER)
        self._say(COURSE_PGN, struct.pack("<BBHHH", self._number, 0xFC, course, speed, NONE_16),
                  RECEIVER)
        for pgn, shown in ((GROUND_SPEED_PGN, speed_m_s),
                           (WHEEL_SPEED_PGN, speed_m_s * (1 + self._slip_share))):
            self._say(pgn, struct.pack("<H6s", round(shown * 1000), b"\xff" * 6), TRACTOR)

    def _say(self, pgn: int, data: bytes, sender: int) -> None:
        self._chip.hear(*can_frame(pgn, data, sender))
