"""Ground speed over time, read from a file that somebody recorded or wrote.

Three formats, told apart by extension and header: plain CSV, the CSV log of a yield monitor
(speed_csv.py) and `.nmea`, a log of NMEA 0183 sentences (speed_nmea.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from host_sim.common.errors import InputError, plain
from host_sim.common.reading import read_bytes
from host_sim.common.straight_lines import value_at
from host_sim.twin.speed_csv import csv_samples
from host_sim.twin.speed_nmea import nmea_samples

RECORDED_STEP_S = 2.0  # a trace with a sample as often as this holds what lies below 0.5 Hz
LARGEST_BYTES = 64 * 2**20
SHORTEST_S, LONGEST_S = 1.0, 24 * 3600.0


@dataclass(frozen=True)
class SpeedTrace:
    """Speed samples from time 0 on; `note` says what they are and what was done to them."""

    name: str
    time_s: tuple[float, ...]
    speed_m_s: tuple[float, ...]
    note: str = ""

    @property
    def duration_s(self) -> float:
        return self.time_s[-1]

    @property
    def recorded(self) -> bool:
        """Whether the slow changes of a real machine's speed can be in it already."""
        return self.duration_s <= RECORDED_STEP_S * (len(self.time_s) - 1)

    def at(self, time_s: float) -> float:
        """Speed at a time, linear between the samples; beyond the ends that of the end."""
        return value_at(time_s, self.time_s, self.speed_m_s)


def read_speed_trace(path: Path) -> SpeedTrace:
    """The trace in a file, shifted to begin at 0.

    Raises InputError naming file and line where it is missing, malformed, runs backwards in
    time or holds a speed that cannot be.
    """
    reader = nmea_samples if path.suffix.lower() == ".nmea" else csv_samples
    samples, note = reader(path, read_bytes(path, LARGEST_BYTES))
    if len(samples) < 2:
        raise InputError(f"{path}: a trace needs at least 2 speed samples, found {len(samples)}")
    start_s = samples[0][0]
    lasts_s = samples[-1][0] - start_s
    if not SHORTEST_S <= lasts_s <= LONGEST_S:
        raise InputError(f"{path}: a trace must last {SHORTEST_S:g} s to {LONGEST_S / 3600:g} h, "
                         f"this one lasts {lasts_s:g} s")
    times, speeds = zip(*((time_s - start_s, speed) for time_s, speed in samples), strict=True)
    return SpeedTrace(plain(path.name), times, speeds, note)
