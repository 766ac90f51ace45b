"""A pressure sensor at the manifold: what it puts on the terminal of the board."""

from __future__ import annotations

from random import Random

from app.pressure import KINDS
from host_sim.plant.machine import Machine

NOISE_SHARE = 0.002  # of its range: deviation from reading to reading (chosen)
PULLED_DOWN_MV = 0  # what a cut wire reads: the divider of the board holds it


class PressureSensor:
    """One of a kind and a range in Pa. Its noise is seeded, and nobody else's."""

    def __init__(self, machine: Machine, kind: int, range_pa: int, seed: int) -> None:
        self._machine = machine
        self._range_pa = range_pa
        self._zero_mv, self._full_mv = KINDS[kind][:2]
        self._rng = Random(f"pressure sensor {seed}")

    def terminal_mv(self) -> int:
        """As boards.board.VoltageInput."""
        share = self._machine.pressure_pa / self._range_pa + self._rng.gauss(0.0, NOISE_SHARE)
        if self._machine.faults.pressure_cut:
            return PULLED_DOWN_MV
        return round(self._zero_mv + share * (self._full_mv - self._zero_mv))
