"""The passes of a run: each from the moment the implement comes down to its next lift.

Way and volume are those that were counted (of a twin: that really were), so that a pass adds up
with the run. The edges of a pass are told in metres, because that is what runs into the
neighbour: -0.4 m at the start means that the liquid for 0.4 m of the pass is missing there.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from host_sim.runs.record import Column, RunRecord
from host_sim.runs.truth import CELL_M, M2_HA, Flags, Truth, per_cell
from rate_control.interlock import BENCH
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

EDGE_M = 2.0  # how much of a pass is its start, and how much its end; at most half of it each
ML_L = 1000.0
WORKING = SWITCH_MASTER | SWITCH_IMPLEMENT

Figures = dict[str, Any]


def passes(record: RunRecord, truth: Truth) -> list[Figures]:
    """The figures of every pass, in the order of driving; `sections` has those of each section.

    A pass is there where the controller was permitted to apply at some moment of it. Its way
    begins with the first moment at which the master was on and the implement down. What a figure
    means: docs/reference/run_files.md.
    """
    ground = _Ground(record, truth)
    spans = list(_spans(record, truth))
    ends = [*(span.start for span in spans[1:]), len(ground.step_m)]
    return [{"pass": number} | ground.figures(span, slice(span.stop, end))
            for number, (span, end) in enumerate(zip(spans, ends, strict=False), start=1)]


def _spans(record: RunRecord, truth: Truth) -> Iterator[slice]:
    """The intervals of each pass."""
    switches = record["hand_switches"][1:].astype(int)
    down = switches & SWITCH_IMPLEMENT > 0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], down, [False]]).astype(int)))
    for start, stop in edges.reshape(-1, 2).tolist():
        working = np.flatnonzero(switches[start:stop] & WORKING == WORKING)
        if truth.permitted[start:stop].any() and len(working):
            yield slice(start + int(working[0]), start + int(working[-1]) + 1)


class _Ground:
    """Way, volume and wanted volume of each interval, from which the figures of a pass are made."""

    def __init__(self, record: RunRecord, truth: Truth) -> None:
        switches = record["hand_switches"][1:].astype(int)
        widths_m = np.array(truth.section_width_m)
        self.truth = truth
        self.end_s = record["time_s"][1:]
        self.step_m = np.diff(record["true_distance_m"])
        self.section_ml = np.diff(record.section_ml, axis=0)
        self.section_ml[record["state"][:-1] == BENCH] = 0.0
        self.working: Flags = switches & WORKING == WORKING
        self.on = truth.section_on & self.working[:, None]
        self.area_ha = self.step_m[:, None] * widths_m * self.on / M2_HA
        self.target_ml = record["wanted_ml_ha"][1:, None] * self.area_ha

    def figures(self, span: slice, after: slice) -> Figures:
        """Of one pass; `after` are the intervals from its lift to the next pass."""
        truth = self.truth
        step_m = self.step_m[span] * self.working[span]
        way_m = np.concatenate([[0.0], np.cumsum(step_m)])
        let_out_ml = self.section_ml[span] * self.working[span, None]
        after_ml = self.section_ml[after].sum(axis=0)
        known = (truth.section_volume_ml[span] * self.on[span],
                 truth.section_target_ml[span] * self.on[span])

        def part(members: slice) -> Figures:
            """Of some sections together."""
            applied, target = (amounts[:, members].sum(axis=1)
                               for amounts in (let_out_ml, self.target_ml[span]))
            area_ha = float(self.area_ha[span, members].sum())
            left_ml = float(after_ml[members].sum())
            return {
                "area_ha": area_ha,
                "volume_l": float(applied.sum()) / ML_L,
                "target_l_ha": _over(float(target.sum()) / ML_L, area_ha),
                "mean_rate_l_ha": _over(float(applied.sum()) / ML_L, area_ha),
                "error_pct": _error_pct(float(applied.sum()), float(target.sum())),
                "cv_pct": _cv_pct(way_m, step_m * self.on[span, members].any(axis=1),
                                  *(amounts[:, members].sum(axis=1) for amounts in known)),
                "start_error_m": _edge_m(way_m, applied, target, 0.0, at_end=False),
                "end_error_m": _edge_m(way_m, applied, target, left_ml, at_end=True),
                "after_lift_l": left_ml / ML_L,
            }

        count = self.on.shape[1]
        return {
            "start_s": float(truth.time_s[span.start]),
            "time_s": float(self.end_s[span.stop - 1] - truth.time_s[span.start]),
            "start_m": float(truth.distance_m[span.start]),
            "length_m": float(way_m[-1]),
        } | part(slice(0, count)) | {
            "sections": [{"section": index + 1} | part(slice(index, index + 1))
                         for index in range(count)]}


def _over(amount: float, area_ha: float) -> float | None:
    return amount / area_ha if area_ha > 0 else None


def _error_pct(applied: float, target: float) -> float | None:
    return 100 * (applied / target - 1) if target > 0 else None


def _cv_pct(way_m: Column, worked_m: Column, applied: Column, target: Column) -> float | None:
    """Coefficient of variation of applied over wanted, from metre to metre of the pass.

    The standard deviation has n - 1, as in ISO 5682-3:1996, clause 6. A metre counts where work
    was wanted on half of it; what is left of the pass after its last whole metre does not.
    """
    edges = np.arange(np.floor(way_m[-1] / CELL_M + 1e-9) + 1) * CELL_M
    if len(edges) < 3:
        return None
    wanted = per_cell(edges, way_m, target)
    counts = (per_cell(edges, way_m, worked_m) >= CELL_M / 2) & (wanted > 0)
    ratios = per_cell(edges, way_m, applied)[counts] / wanted[counts]
    if len(ratios) < 2 or not ratios.mean() > 0:
        return None
    return float(100 * ratios.std(ddof=1) / ratios.mean())


def _edge_m(way_m: Column, applied: Column, target: Column, left_ml: float, at_end: bool
            ) -> float | None:
    """Liquid too much (+) or missing (-) at one end of a pass, as metres of it.

    `left_ml` is what came out beyond that end.
    """
    length_m = min(EDGE_M, float(way_m[-1]) / 2)
    begin_m = way_m[-1] - length_m if at_end else 0.0
    window = np.array([begin_m, begin_m + length_m])
    wanted_ml = float(per_cell(window, way_m, target)[0])
    if not wanted_ml > 0:
        return None
    got_ml = float(per_cell(window, way_m, applied)[0]) + left_ml
    return length_m * (got_ml / wanted_ml - 1)
