"""The passes of a run: each from the moment the implement comes down to its next lift.

Way and volume are those that were counted (of a twin: that really were), so that a pass adds up
with the run. The edges of a pass are told in metres, because that is what runs into the
neighbour: -0.4 m at the start means that the liquid for 0.4 m of the pass is missing there.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from host_sim.runs.judged import CELL_M, M2_HA
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.truth import Flags, Truth, per_cell
from rate_control.interlock import BENCH
from rate_control.units import SWITCH_IMPLEMENT

EDGE_M = 2.0  # how much of a pass is its start, and how much its end; at most half of it each
ML_L = 1000.0

Figures = dict[str, Any]


def passes(record: RunRecord, truth: Truth) -> list[Figures]:
    """The figures of every pass, in the order of driving; `sections` has those of each section.

    A pass is there where the controller was permitted to apply at some moment of it. Its way
    begins with the first moment at which the master was on and the implement down. What a figure
    means: docs/reference/run_files.md.
    """
    return [{"pass": number} | one.figures()
            for number, one in enumerate(cut(record, truth), start=1)]


def cut(record: RunRecord, truth: Truth) -> list[Pass]:
    """The passes themselves, of which any piece can be judged."""
    ground = _Ground(record, truth, truth.asked)
    spans = list(_spans(record, truth))
    ends = [*(span.start for span in spans[1:]), len(ground.step_m)]
    return [Pass(ground, span, slice(span.stop, end))
            for span, end in zip(spans, ends, strict=False)]


def _spans(record: RunRecord, truth: Truth) -> Iterator[slice]:
    """The intervals of each pass."""
    down = record["hand_switches"][1:].astype(int) & SWITCH_IMPLEMENT > 0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], down, [False]]).astype(int)))
    for start, stop in edges.reshape(-1, 2).tolist():
        working = np.flatnonzero(truth.asked[start:stop])
        if truth.permitted[start:stop].any() and len(working):
            yield slice(start + int(working[0]), start + int(working[-1]) + 1)


class _Ground:
    """Way, volume and wanted volume of each interval of a run."""

    def __init__(self, record: RunRecord, truth: Truth, working: Flags) -> None:
        widths_m = np.array(truth.section_width_m)
        self._record = record
        self.truth = truth
        self.measured = bool(record.about.get("measured"))
        self.time_s = record["time_s"]
        self.step_m = np.diff(record["true_distance_m"])
        self.section_ml = np.diff(record.section_ml, axis=0)
        self.section_ml[record["state"][:-1] == BENCH] = 0.0
        # What a meter counts behind shut sections fills the line: it is no liquid at an end.
        is_open: Flags = record["section_mask"][:-1] > 0
        shut = self.measured and is_open.any()
        self.at_end_ml = self.section_ml * is_open[:, None] if shut else self.section_ml
        self.working = working
        self.on = truth.section_on & self.working[:, None]
        self.area_ha = self.step_m[:, None] * widths_m * self.on / M2_HA
        self.target_ml = record["wanted_ml_ha"][1:, None] * self.area_ha

    def worked(self, span: slice) -> _Ground:
        """The same ground, where liquid is wanted in these intervals, too."""
        working = self.working.copy()
        working[span] = True
        return _Ground(self._record, self.truth, working)


class Pass:
    """One pass. `span` are its intervals, `after` those from its lift to the next pass."""

    def __init__(self, ground: _Ground, span: slice, after: slice) -> None:
        truth = ground.truth
        self._ground, self._span, self._after = ground, span, after
        self._measured = ground.measured
        working = ground.working[span]
        self.start_s = float(truth.time_s[span.start])
        self.start_m = float(truth.distance_m[span.start])
        self._time_s = ground.time_s[span.start : span.stop + 1] - self.start_s
        step_m = ground.step_m[span] * working
        self._way_m = np.concatenate([[0.0], np.cumsum(step_m)])
        self._worked_m = step_m[:, None] * ground.on[span]
        self._area_ha = ground.area_ha[span]
        self._target_ml = ground.target_ml[span]
        self._let_out_ml = ground.section_ml[span] * working[:, None]
        self._at_end_ml = ground.at_end_ml[span] * working[:, None]
        self._after_ml = ground.section_ml[after].sum(axis=0)
        # Metre by metre the estimates of a measured run are better than its counts.
        self._metre_ml = truth.section_volume_ml[span] * ground.on[span]
        self._metre_target_ml = truth.section_target_ml[span] * ground.on[span]

    @property
    def length_m(self) -> float:
        return float(self._way_m[-1])

    def up_to(self, end_m: float) -> Pass:
        """This pass, as if it had been lifted no earlier than at a place: ground is wanted up to
        there. Who knows that the liquid stops later than the switch lifts ahead of a plot's end.
        """
        beyond_m = self.length_m + np.cumsum(self._ground.step_m[self._after])
        more = int(np.searchsorted(beyond_m, end_m)) + 1
        if end_m <= self.length_m or more > len(beyond_m):
            return self
        stop = self._span.stop + more
        return Pass(self._ground.worked(slice(self._span.stop, stop)),
                    slice(self._span.start, stop), slice(stop, self._after.stop))

    def figures(self, begin_m: float = 0.0, end_m: float | None = None) -> Figures:
        """Of the pass, or of a piece of its way, for which what came after the lift counts not."""
        whole = end_m is None
        window = np.array([begin_m, self.length_m if end_m is None else end_m])
        times_s = self._time_s[[0, -1]] if whole else np.interp(window, self._way_m, self._time_s)
        count = self._area_ha.shape[1]
        return {
            "start_s": self.start_s + float(times_s[0]),
            "time_s": float(times_s[1] - times_s[0]),
            "start_m": self.start_m + begin_m,
            "length_m": float(min(window[1], self.length_m) - begin_m),
        } | self._part(slice(0, count), window, whole) | {
            "sections": [{"section": index + 1} | self._part(slice(index, index + 1), window, whole)
                         for index in range(count)]}

    def _part(self, members: slice, window: Column, whole: bool) -> Figures:
        """Of some sections together."""
        way_m = self._way_m
        applied, at_end, target, area = (amounts[:, members].sum(axis=1) for amounts in (
            self._let_out_ml, self._at_end_ml, self._target_ml, self._area_ha))
        applied_ml, target_ml, area_ha = (
            float(amounts.sum() if whole else per_cell(window, way_m, amounts)[0])
            for amounts in (applied, target, area))
        left_ml = float(self._after_ml[members].sum()) if whole else 0.0
        return {
            "area_ha": area_ha,
            "volume_l": applied_ml / ML_L,
            "target_l_ha": _over(target_ml / ML_L, area_ha),
            "mean_rate_l_ha": _over(applied_ml / ML_L, area_ha),
            "error_pct": 100 * (applied_ml / target_ml - 1) if target_ml > 0 else None,
            "cv_pct": _cv_pct(way_m, window, self._worked_m[:, members].max(axis=1),
                              *(amounts[:, members].sum(axis=1)
                                for amounts in (self._metre_ml, self._metre_target_ml))),
            "start_error_m": _edge_m(way_m, window, applied, target, 0.0, at_end=False),
            "end_error_m": _edge_m(way_m, window, at_end, target,
                                   0.0 if self._measured else left_ml, at_end=True),
            "after_lift_l": left_ml / ML_L,
        }


def _over(amount: float, area_ha: float) -> float | None:
    return amount / area_ha if area_ha > 0 else None


def _cv_pct(way_m: Column, window: Column, worked_m: Column, applied: Column, target: Column
            ) -> float | None:
    """Coefficient of variation of applied over wanted, from metre to metre of the window.

    The standard deviation has n - 1, as in ISO 5682-3:1996, clause 6. A metre counts where work
    was wanted on half of it; what is left of the window after its last whole metre does not.
    """
    length_m = min(window[1], way_m[-1]) - window[0]
    edges = window[0] + np.arange(max(np.floor(length_m / CELL_M + 1e-9), 0.0) + 1) * CELL_M
    if len(edges) < 3:
        return None
    wanted = per_cell(edges, way_m, target)
    counts = (per_cell(edges, way_m, worked_m) >= CELL_M / 2) & (wanted > 0)
    ratios = per_cell(edges, way_m, applied)[counts] / wanted[counts]
    if len(ratios) < 2 or not ratios.mean() > 0:
        return None
    return float(100 * ratios.std(ddof=1) / ratios.mean())


def edge_m(length_m: float) -> float:
    """How long the start, or the end, of a pass of this length is."""
    return min(EDGE_M, length_m / 2)


def _edge_m(way_m: Column, window: Column, applied: Column, target: Column, left_ml: float,
            at_end: bool) -> float | None:
    """Liquid too much (+) or missing (-) at one end of a window, as metres of it.

    `left_ml` is what came out beyond that end.
    """
    length_m = edge_m(float(window[1] - window[0]))
    begin_m = window[1] - length_m if at_end else window[0]
    edge = np.array([begin_m, begin_m + length_m])
    wanted_ml = float(per_cell(edge, way_m, target)[0])
    if not wanted_ml > 0:
        return None
    got_ml = float(per_cell(edge, way_m, applied)[0]) + left_ml
    return length_m * (got_ml / wanted_ml - 1)
