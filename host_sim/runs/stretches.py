"""Where on the way the rate was off, and what was going on there."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from host_sim.runs.record import RunRecord
from host_sim.runs.truth import Flags, Truth
from rate_control import faults
from rate_control.units import TICK_MS

OFF_SHARE = 0.05  # a stretch is where the rate is off by more than this
MERGE_M = 2.0  # two stretches closer than this, and off to the same side, are one
ONE_SECTION_SHARE = 0.7  # of what went wrong: then it is that section's doing
RECENT_S = 3.0  # an event this long ago can still be the cause
AHEAD_S = 0.15  # hands act between ticks, so an event may be dated a tick or two after its effect
BRISK_SHARE = 0.05  # smaller changes of speed within a second are not worth a mention
SECOND = 1000 // TICK_MS  # ticks


@dataclass(frozen=True)
class Stretch:
    """A piece of the way on which the rate was off.

    Errors are in percent of what was wanted; wrong_ml is without sign. section is the one that
    most of it is due to, counted from 1, None where it is the whole bar.
    """

    start_m: float
    end_m: float
    start_s: float
    end_s: float
    mean_pct: float
    peak_pct: float
    wrong_ml: float
    section: int | None
    cause: str

    @property
    def length_m(self) -> float:
        return self.end_m - self.start_m

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


def worst_stretches(record: RunRecord, truth: Truth, count: int) -> list[Stretch]:
    """The stretches that put the most liquid in the wrong place, worst first."""
    found = [_stretch(record, truth, span) for span in _spans(truth)]
    return sorted(found, key=lambda stretch: -stretch.wrong_ml)[:count]


def _spans(truth: Truth) -> list[slice]:
    """Index ranges of the intervals that are off to one side, near ones joined."""
    error = np.nan_to_num(truth.error)
    off = np.flatnonzero(np.abs(error) > OFF_SHARE)
    if not len(off):
        return []
    ends_m = truth.distance_m + truth.step_m
    apart = truth.distance_m[off[1:]] - ends_m[off[:-1]] > MERGE_M
    turned = np.sign(error[off[1:]]) != np.sign(error[off[:-1]])
    groups = np.split(off, np.flatnonzero(apart | turned) + 1)
    return [slice(int(group[0]), int(group[-1]) + 1) for group in groups]


def _stretch(record: RunRecord, truth: Truth, span: slice) -> Stretch:
    volume, target = truth.volume_ml[span], truth.target_ml[span]
    error = truth.error[span]
    peak = error[np.nanargmax(np.abs(error))]
    last = span.stop - 1
    return Stretch(
        start_m=float(truth.distance_m[span.start]),
        end_m=float(truth.distance_m[last] + truth.step_m[last]),
        start_s=float(truth.time_s[span.start]),
        end_s=float(record["time_s"][span.stop]),
        mean_pct=float(100 * (volume.sum() / target.sum() - 1)),
        peak_pct=float(100 * peak),
        wrong_ml=float(np.abs(volume - target).sum()),
        section=_section(truth, span),
        cause=_cause(record, span),
    )


def _section(truth: Truth, span: slice) -> int | None:
    missed = truth.section_volume_ml[span] - truth.section_target_ml[span]
    wrong = np.abs(missed).sum(axis=0)
    first = int(np.argmax(wrong))
    alone = len(wrong) > 1 and wrong[first] > ONE_SECTION_SHARE * wrong.sum()
    return first + 1 if alone else None


def _cause(record: RunRecord, span: slice) -> str:
    """The first of the known causes that fits, in words."""
    for look in (_fault, _limit, _by_hand, _coasting, _speed):
        words = look(record, span)
        if words:
            return words
    return "no cause found"


def _fault(record: RunRecord, span: slice) -> str:
    seen = int(np.bitwise_or.reduce(record["faults"][span].astype(int))) & faults.BLOCKING
    return "fault: " + ", ".join(faults.names(seen)) if seen else ""


def _limit(record: RunRecord, span: slice) -> str:
    at_limit: Flags = record["saturated"][span] > 0
    return "the pump was at its limit" if at_limit.mean() > 0.5 else ""


def _by_hand(record: RunRecord, span: slice) -> str:
    start_s = record["time_s"][span.start]
    recent = [event for event in record.about.get("events", [])
              if -AHEAD_S <= start_s - event["time_s"] <= RECENT_S]
    if not recent:
        return ""
    event = recent[-1]
    after_s = start_s - event["time_s"]
    when = f"{after_s:.1f} s after" if after_s >= 0.05 else "as"
    place = f" ({event['note']})" if event["note"] else ""
    return f"{when} {event['words']}{place}"


def _coasting(record: RunRecord, span: slice) -> str:
    return "the flow was below the meter floor" if record["coasting"][span].mean() > 0.5 else ""


def _speed(record: RunRecord, span: slice) -> str:
    """The largest change of speed within a second, from a second before the stretch on."""
    speed = record["true_speed_m_s"][max(span.start - SECOND, 0) : span.stop + 1]
    before, after = speed[:-SECOND], speed[SECOND:]
    moving = before > 0
    if not moving.any():
        return ""
    changes = after[moving] / before[moving] - 1.0
    largest = changes[np.argmax(np.abs(changes))]
    if abs(largest) < BRISK_SHARE:
        return ""
    verb = "rose" if largest > 0 else "fell"
    return f"while the speed {verb} by {100 * abs(largest):.0f} % within a second"
