"""Speed samples out of a log of NMEA 0183 sentences, read with the firmware's own parser.

RMC and VTG give the speed, RMC and GGA the time of day. One sample an epoch: the last sound
speed before the time moves on. Damaged sentences and epochs without a fix are skipped and
counted, as a real log has some; across them the speed is linear.
"""

from __future__ import annotations

import re
from pathlib import Path

from app.nmea import NmeaSpeed
from host_sim.common.errors import InputError
from host_sim.twin.speed_samples import Sample, check_sample

DAY_S = 86400.0
_CLOCK = re.compile(rb"\$..(?:RMC|GGA),(\d\d)(\d\d)(\d\d(?:\.\d*)?),")


def nmea_samples(path: Path, data: bytes) -> tuple[list[Sample], str]:
    """Samples of a log, and a note on what it was. Raises InputError naming file and line."""
    reader = NmeaSpeed()
    samples: list[Sample] = []
    epoch_s: float | None = None
    pending: float | None = None
    reports = 0
    line = 0
    for line, sentence in enumerate(data.splitlines(), start=1):
        rejected = reader.rejected
        fresh = reader.feed(sentence + b"\r\n")
        clock = _CLOCK.match(sentence)
        if clock and reader.rejected == rejected:
            time_s = _unwrapped(clock, epoch_s)
            if time_s != epoch_s:
                _close_epoch(f"{path}:{line}", samples, epoch_s, pending)
                epoch_s, pending = time_s, None
        if fresh:
            reports += 1
            if reader.valid:
                pending = reader.speed_mm_s / 1000
    _close_epoch(f"{path}:{line}", samples, epoch_s, pending)
    if reports and epoch_s is None:
        raise InputError(f"{path}: has speeds but no time: VTG needs RMC or GGA beside it")
    note = f"NMEA log, {reports} speed reports"
    return samples, note + (f", {reader.rejected} damaged" if reader.rejected else "")


def _close_epoch(
    where: str, samples: list[Sample], epoch_s: float | None, speed_m_s: float | None
) -> None:
    if epoch_s is None or speed_m_s is None:
        return
    check_sample(where, samples, epoch_s, speed_m_s, "speed")
    samples.append((epoch_s, speed_m_s))


def _unwrapped(clock: re.Match[bytes], before_s: float | None) -> float:
    """Seconds of the day; a day is added where midnight passed since `before_s`."""
    hours, minutes, seconds = (float(group) for group in clock.groups())
    time_s = hours * 3600 + minutes * 60 + seconds
    if before_s is not None:
        time_s += DAY_S * round((before_s - time_s) / DAY_S)
    return time_s
