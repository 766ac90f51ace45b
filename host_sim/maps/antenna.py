"""Lag and place of a receiver's antenna, from passes to and fro between two stakes.

The machine drives over the same line in both directions; the implement comes down at one stake and
goes up at the other. With a lag that is set too short by d at speed v, the outlets are believed to
be v d behind where they are: on the way back, on the other side. So what is believed at one stake
differs by 2 v d between the directions. An antenna that stands further to the right than it was
said to by e puts the line 2 e apart. Each is half the difference, and the stakes need no survey.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from host_sim.common.errors import InputError
from host_sim.runs.measured import as_measured
from host_sim.runs.record import Column, RunRecord
from rate_control.debounce import Debounce
from rate_control.units import SWITCH_IMPLEMENT, TICK_MS

OPPOSITE = -0.94  # cosine: within 20 degrees
SHORTEST_M = 5.0
SLOWEST_M_S = 0.5
GAP_MAX_S = 0.25  # between two rows of a record: a move in a longer one is not told well enough


@dataclass(frozen=True)
class Stakes:
    """One pass: where its two stakes were believed to be, and how fast it went by them."""

    start: Column
    end: Column
    speed_m_s: float

    @property
    def along(self) -> Column:
        """Unit vector of its direction."""
        way = self.end - self.start
        unit: Column = way / np.hypot(*way)
        return unit


@dataclass(frozen=True)
class Antenna:
    """What the passes say: the settings that would make them agree, and half the range of each."""

    pairs: int
    lag_s: float
    lag_range_s: float
    right_m: float
    right_range_m: float


def antenna_of(record: RunRecord) -> Antenna:
    """The antenna by the passes of a run. Raises InputError where they do not tell."""
    measured = as_measured(record)
    if not measured.has_place:
        raise InputError("the run does not know its place: set position_use and record anew")
    if measured.unsteady:
        raise InputError(measured.unsteady)
    settings = measured.settings
    passes = _passes(measured)
    lags, rights = [], []
    for there, back in pairwise(passes):
        along = there.along
        if float(along @ back.along) > OPPOSITE:
            continue
        across = np.array([along[1], -along[0]])
        apart = ((back.start - there.end) + (back.end - there.start)) / 2
        lags.append(float(apart @ along) / (there.speed_m_s + back.speed_m_s))
        rights.append(-float(apart @ across) / 2)
    if not lags:
        raise InputError("there are no two passes one after the other in opposite directions, each "
                         f"of {SHORTEST_M:g} m or more at {SLOWEST_M_S:g} m/s or more")
    antenna = settings["antenna_mm"]
    return Antenna(
        len(lags), settings["antenna_lag_ms"] / 1e3 + float(np.mean(lags)), _half_range(lags),
        (antenna[2] - antenna[3]) / 1e3 + float(np.mean(rights)), _half_range(rights))


def _half_range(values: list[float]) -> float:
    return (max(values) - min(values)) / 2


def _passes(record: RunRecord) -> list[Stakes]:
    """Passes from stake to stake, each where the outlets were when the implement moved."""
    down = (record["hand_switches"].astype(int) & SWITCH_IMPLEMENT > 0).astype(int)
    starts, ends = np.flatnonzero(np.diff(down) > 0) + 1, np.flatnonzero(np.diff(down) < 0) + 1
    start_s, end_s = _counts_late_s(record.settings)
    time_s = record["time_s"]
    moved_s = (time_s[1:] + time_s[:-1]) / 2  # somewhere between two rows: half way, on average
    told = np.diff(time_s) <= GAP_MAX_S
    found = []
    for start in starts:
        later = ends[ends > start]
        if not len(later):
            continue
        end = later[0]
        if not (told[start - 1] and told[end - 1]
                and (record["fix_quality"][start : end + 1] > 0).all()):
            continue
        span_s = time_s[end] - time_s[start]
        way_m = record["true_distance_m"][end] - record["true_distance_m"][start]
        if way_m < SHORTEST_M or way_m / span_s < SLOWEST_M_S:
            continue
        found.append(Stakes(_place(record, moved_s[start - 1] - start_s),
                            _place(record, moved_s[end - 1] - end_s), way_m / span_s))
    return found


def _counts_late_s(settings: dict[str, Any]) -> tuple[float, float]:
    """How long after a tick that sees the implement down, and up, that counts."""
    debounce = Debounce(2, settings["switch_debounce_ms"])
    debounce.set_delays(SWITCH_IMPLEMENT, settings["implement_start_delay_ms"],
                        settings["implement_stop_delay_ms"])
    late_s = []
    for seen in (SWITCH_IMPLEMENT, 0):
        ticks = 0
        while debounce.update(seen) & SWITCH_IMPLEMENT != seen:
            ticks += 1
        late_s.append(ticks * TICK_MS / 1e3)
    return late_s[0], late_s[1]


def _place(record: RunRecord, time_s: float) -> Column:
    return np.array([np.interp(time_s, record["time_s"], record[name])
                     for name in ("true_east_m", "true_north_m")])
