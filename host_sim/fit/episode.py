"""What a controller recorded of a machine: the pins tick by tick, and the meter's pulses.

Nothing else is read of a run: of a drive on the twin the truth stands beside it, and stays there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host_sim.common.errors import InputError
from host_sim.runs.record import Column, RunRecord
from rate_control.units import BYPASS_VALVE, DUTY_FULL, PWM_PUMP, TICK_US

TICK_S = TICK_US * 1e-6
LATE_S = 0.3 * TICK_S  # by which a tick may be off and still be the next one
SHORTEST_S = 30.0
LONGEST_S = 120.0  # a longer one tells little more and takes its time
LEAST_MOVES = 3
DUTY_MOVE = 0.03  # of full duty: a change that moves the flow
MOVE_TICKS = 10
WARM_TICKS = 60  # until a machine that was running has forgotten how it came there
BLOCK_TICKS = 20  # without a rate pulses are counted over so long
RATE_SHARE = 2e-3  # of a rate that no plant tells: what is left of ripple, rounding and the rest
COUNT_PULSES = 0.6  # two ends of a count: one that falls anywhere, and one beside a pulse
COUNT_TICKS = 10  # the least: a tick that is looked at because it has a pulse tells nothing

Ticks = NDArray[np.int64]
Readings = tuple[Column, Column, Column, Column, NDArray[np.bool_]]


@dataclass(frozen=True)
class Episode:
    """An unbroken stretch, a row a tick. Row k's pins act from `time_us[k]` to `time_us[k + 1]`.

    A reading is a count of pulses between two moments: `begin_s` to `end_s` from the first row
    on, `pulses` in it, and the standard deviation of that count that the moments of the edges
    leave. `rated` tells those that come of the controller's rate from those that are counted.
    `opening` is where the controller took its valve to be in the first row, 0 shut to 1 open.
    `left_out_s` of the run are not in it.
    """

    settings: dict[str, int]
    time_us: Ticks
    duty: Column
    pulse_ms: Ticks
    mask: Ticks
    supply_v: Column
    begin_s: Column
    end_s: Column
    pulses: Column
    deviation: Column
    rated: NDArray[np.bool_]
    opening: float
    left_out_s: float

    @property
    def valve(self) -> bool:
        """Whether a regulating valve is driven, not a pump."""
        return self.settings["actuator"] != PWM_PUMP

    @property
    def duration_s(self) -> float:
        return float(self.time_us[-1] - self.time_us[0]) * 1e-6

    def __len__(self) -> int:
        return len(self.time_us)


def episode_of(name: str, record: RunRecord, longest_s: float = LONGEST_S) -> Episode:
    """The liveliest unbroken stretch of a run, at most so long.

    Raises InputError with the reason where there is none.
    """
    if record.unsteady:
        raise InputError(f"{name}: {record.unsteady}")
    settings = record.about["settings"]
    span, left_out_s = _stretch(name, record, longest_s)
    columns = {field: record[field][span] for field in (
        "time_s", "duty_u16", "valve_pulse_ms", "section_mask", "supply_mv", "flow_ul_s",
        "flow_valid", "volume_ul", "position_u16")}
    _check_lively(name, settings, columns)
    time_us = np.round((columns["time_s"] - columns["time_s"][0]) * 1e6).astype(np.int64)
    read_ml_s, pulses = _raw(settings, columns)
    readings = _readings(settings, time_us * 1e-6, read_ml_s, pulses, columns["flow_valid"] > 0)
    if columns["section_mask"][0] or pulses[1:WARM_TICKS].any():  # what was before is not known
        warm = readings[0] >= time_us[WARM_TICKS] * 1e-6
        begin_s, end_s, counts, deviation, rated = readings
        readings = (begin_s[warm], end_s[warm], counts[warm], deviation[warm], rated[warm])
    opening = float(columns["position_u16"][0]) / DUTY_FULL
    if settings["actuator"] == BYPASS_VALVE:
        opening = 1.0 - opening
    return Episode(
        settings, time_us, columns["duty_u16"] / DUTY_FULL,
        columns["valve_pulse_ms"].astype(np.int64), columns["section_mask"].astype(np.int64),
        columns["supply_mv"] / 1e3, *readings, opening, left_out_s)


def _stretch(name: str, record: RunRecord, longest_s: float) -> tuple[slice, float]:
    """Rows of the unbroken stretch in which most happens, and how long all others are."""
    time_s = record["time_s"]
    steps = np.diff(time_s)
    usual_s = float(np.median(steps))
    if usual_s > TICK_S + LATE_S:
        raise InputError(f"{name}: has a record only every {usual_s:.2g} s, and what the pins did "
                         "between two is not known: record every tick, `record --every 1`")
    breaks = np.flatnonzero(np.abs(steps - TICK_S) > LATE_S) + 1
    edges = [0, *breaks.tolist(), len(time_s)]
    whole = [(first, last) for first, last in zip(edges, edges[1:], strict=False)
             if time_s[last - 1] - time_s[first] >= SHORTEST_S]
    if not whole:
        longest_s = max(time_s[last - 1] - time_s[first]
                        for first, last in zip(edges, edges[1:], strict=False))
        raise InputError(f"{name}: its longest stretch without a gap is {longest_s:.0f} s; at "
                         f"least {SHORTEST_S:.0f} s are needed")
    moved = _moves(record)
    resting = record["section_mask"] == 0
    windows = [window for stretch in whole for window in _windows(stretch, longest_s, resting)]
    first, last = max(windows, key=lambda window: moved[window[0]:window[1]].sum())
    return slice(first, last), float(time_s[-1] - time_s[0] - (time_s[last - 1] - time_s[first]))


def _windows(stretch: tuple[int, int], longest_s: float, resting: NDArray[np.bool_]
             ) -> list[tuple[int, int]]:
    """A stretch, or parts of it that are no longer than what is looked at.

    A part begins, where that is near, while the machine rests: then its state is known.
    """
    first, last = stretch
    most = round(longest_s / TICK_S)
    if last - first <= most:
        return [stretch]
    windows = []
    for start in range(first, last - most + 1, most // 4):
        before = np.flatnonzero(resting[max(start - most // 4, first):start + 1])
        if len(before):
            start = max(start - most // 4, first) + int(before[-1])
        windows.append((start, start + most))
    return windows


def _moves(record: RunRecord) -> Column:
    """How much was asked of the machine in each row: changes of duty, motor time, sections."""
    moved = np.zeros(len(record))
    moved[1:] += np.abs(np.diff(record["duty_u16"])) / DUTY_FULL
    moved += np.abs(record["valve_pulse_ms"]) / 1e3
    moved[1:] += np.diff(record["section_mask"]) != 0
    return moved


def _check_lively(name: str, settings: dict[str, int], columns: dict[str, Column]) -> None:
    """Raise InputError where nothing can be learned because nothing happened."""
    if not columns["volume_ul"].any():
        raise InputError(f"{name}: no liquid came through the meter")
    if settings["actuator"] == PWM_PUMP:
        duty = columns["duty_u16"] / DUTY_FULL
        apart = np.abs(duty[MOVE_TICKS:] - duty[:-MOVE_TICKS])
        if np.count_nonzero(np.diff(apart > DUTY_MOVE)) < 2 * LEAST_MOVES:
            raise InputError(f"{name}: the duty hardly moves, so the run tells nothing of how the "
                             "machine answers: change the speed or the rate a few times")
    elif np.count_nonzero(np.diff(columns["valve_pulse_ms"] != 0)) < 2 * LEAST_MOVES:
        raise InputError(f"{name}: the valve hardly moves, so the run tells nothing of how the "
                         "machine answers: change the speed or the rate a few times")


def _raw(settings: dict[str, int], columns: dict[str, Column]) -> tuple[Column, Column]:
    """What the meter itself read in mL/s, before its droop was put right, and pulses per tick."""
    flow = columns["flow_ul_s"]
    droop = settings.get("meter_droop_ul_s", 0)
    read = np.maximum(flow - np.divide(droop**2, flow, where=flow > 0, out=np.zeros_like(flow)),
                      0.0)
    ratio = np.divide(read, flow, where=flow > 0, out=np.ones_like(flow))
    pulse_ul = 1e8 / settings["meter_pulses_hl"]
    return read / 1e3, np.round(columns["volume_ul"] * ratio / pulse_ul)


def _readings(settings: dict[str, int], time_s: Column, read_ml_s: Column, pulses: Column,
              valid: NDArray[np.bool_]) -> Readings:
    """Every count of pulses between two moments that the rows tell, none twice.

    A rate is a number of pulses, which the rows tell, over the time from edge to edge: so the time
    follows. When the last edge came is known to within the time between two pulses, or a tick.
    """
    hz = read_ml_s * 1e3 * settings["meter_pulses_hl"] / 1e8
    average = settings.get("meter_average_pulses", 2)
    before = np.concatenate([[0.0], np.cumsum(pulses)])
    rows: list[tuple[float, float, float, float, bool]] = []
    waiting = 1  # first row whose pulses are in no reading yet
    for row in range(1, len(time_s)):
        window = _window(before, row, average) if valid[row] and pulses[row] and hz[row] else None
        if window is not None:
            count = before[row + 1] - before[window + 1]
            span_s = count / hz[row]
            apart_s = min(1.0 / hz[row], TICK_S)
            end_s = time_s[row] - apart_s / 2
            begins = time_s[window] - end_s + span_s
            if -TICK_S - apart_s < begins < apart_s and valid[window]:
                slope = _slope(hz, row)
                jitter = slope * apart_s / np.sqrt(12.0) * span_s
                deviation = np.hypot(jitter, RATE_SHARE * count)
                # windows overlap where they are longer than a tick: each counts for its part
                overlap = max((row - window), 1)
                _count(rows, time_s, pulses, waiting, window + 1)
                waiting = row + 1
                rows.append((end_s - span_s, end_s, count,
                             deviation * np.sqrt(overlap), True))
                continue
        if row - waiting >= BLOCK_TICKS:
            _count(rows, time_s, pulses, waiting, row)
            waiting = row
    _count(rows, time_s, pulses, waiting, len(time_s))
    table = np.array(rows)
    keep = table[:, 0] >= 0.0
    return (table[keep, 0], table[keep, 1], table[keep, 2], table[keep, 3],
            table[keep, 4].astype(bool))


def _window(before: Column, row: int, average: int) -> int | None:
    """The row with whose last edge the window of a row begins: with `average` pulses between."""
    start = row - 1
    while start >= 0:
        if before[row + 1] - before[start + 1] >= average and before[start + 1] > before[start]:
            return start
        start -= 1
    return None


def _slope(hz: Column, row: int) -> float:
    """How fast the rate changes about a row, 1/s2."""
    low, high = max(row - 2, 0), min(row + 2, len(hz) - 1)
    return float(np.max(np.abs(np.diff(hz[low:high + 1])))) / TICK_S


def _count(rows: list[tuple[float, float, float, float, bool]], time_s: Column, pulses: Column,
           first: int, last: int) -> None:
    """A reading of all pulses of rows `first` to `last`, this one left out."""
    if last - first < COUNT_TICKS:
        return
    count = float(pulses[first:last].sum())
    rows.append((time_s[first - 1], time_s[last - 1], count,
                 float(np.hypot(COUNT_PULSES, RATE_SHARE * count)), False))
