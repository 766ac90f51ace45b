"""Samples of ground speed over time, and what every source of them must keep to."""

from __future__ import annotations

from host_sim.common.errors import InputError
from rate_control.units import SPEED_MAX_MM_S

Sample = tuple[float, float]  # s, m/s
SPEED_MAX_M_S = SPEED_MAX_MM_S / 1000


def check_sample(
    where: str, samples: list[Sample], time_s: float, speed_m_s: float, column: str
) -> None:
    """Raise InputError where a sample cannot follow those before it."""
    if samples and time_s <= samples[-1][0]:
        raise InputError(f"{where}: time_s: time runs backwards or stands still: "
                         f"{time_s:g} s after {samples[-1][0]:g} s")
    if speed_m_s < 0:
        raise InputError(f"{where}: {column}: a speed cannot be negative, is {speed_m_s:g} m/s")
    if speed_m_s > SPEED_MAX_M_S:
        raise InputError(f"{where}: {column}: {speed_m_s:g} m/s is faster than the "
                         f"{SPEED_MAX_M_S:g} m/s that the controller covers")
