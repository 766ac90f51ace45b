"""What the machine really put on the ground, kept apart from what the controller believes.

A run is cut into the intervals between its ticks. In an interval the hands' switches and the
wanted rate are those that the tick at its end saw (they were moved right after the tick at its
start); the controller's state is the one that its tick at the start decided.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from host_sim.runs.measured import estimated_steps
from host_sim.runs.record import Column, RunRecord
from rate_control.interlock import APPLYING
from rate_control.units import SWITCH_SECTION_SHIFT

M2_HA = 1e4
CELL_M = 1.0

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Truth:
    """An entry for each interval; `sections` arrays have a row for each and a column a section.

    `volume_ml` left the orifices, `target_ml` should have: wanted rate x distance x width of
    the sections switched on by hand. `permitted` marks the intervals in which the interlock
    permitted applying.
    """

    section_width_m: list[float]
    time_s: Column
    distance_m: Column
    step_m: Column
    permitted: Flags
    section_on: Flags
    section_volume_ml: Column
    section_target_ml: Column

    @cached_property
    def volume_ml(self) -> Column:
        total: Column = self.section_volume_ml.sum(axis=1)
        return total

    @cached_property
    def target_ml(self) -> Column:
        total: Column = self.section_target_ml.sum(axis=1)
        return total

    @cached_property
    def judged(self) -> Flags:
        """Intervals that have a rate error: permitted, and ground covered that was wanted."""
        return self.permitted & (self.target_ml > 0)

    @cached_property
    def error(self) -> Column:
        """Rate error, applied over wanted less 1; not a number where not judged."""
        return np.divide(self.volume_ml, self.target_ml, where=self.judged,
                         out=np.full(len(self.time_s), np.nan)) - 1.0


def true_run(record: RunRecord, section_width_m: list[float]) -> Truth:
    """The truth of a recorded run; of a measured one, what the controller made of it."""
    step_m = np.diff(record["true_distance_m"])
    section_ml = np.diff(record.section_ml, axis=0)
    if record.about.get("measured"):
        step_m, section_ml = estimated_steps(record, step_m, section_ml)
    on_by_hand = record["hand_switches"][1:].astype(int)
    bits = SWITCH_SECTION_SHIFT + np.arange(record.section_count)
    section_on = (on_by_hand[:, None] >> bits & 1).astype(bool)
    area_ha = step_m[:, None] * np.array(section_width_m) / M2_HA
    return Truth(
        section_width_m=section_width_m,
        time_s=record["time_s"][:-1],
        distance_m=record["true_distance_m"][:-1],
        step_m=step_m,
        permitted=record["state"][:-1] == APPLYING,
        section_on=section_on,
        section_volume_ml=section_ml,
        section_target_ml=record["wanted_ml_ha"][1:, None] * area_ha * section_on,
    )


def ground_cells(truth: Truth) -> Column:
    """Applied over wanted on each metre of the way: a row a metre, a column a section.

    Not a number where on less than half of the metre the section was on and the controller
    permitted to apply, or where nothing was wanted.
    """
    end_m = np.append(truth.distance_m, truth.distance_m[-1] + truth.step_m[-1])
    edges = np.arange(max(np.ceil(end_m[-1] / CELL_M - 1e-6), 1.0) + 1.0) * CELL_M
    ratios = np.full((len(edges) - 1, len(truth.section_width_m)), np.nan)
    for index in range(ratios.shape[1]):
        on = truth.permitted & truth.section_on[:, index]
        worked_m = per_cell(edges, end_m, truth.step_m * on)
        applied = per_cell(edges, end_m, truth.section_volume_ml[:, index] * on)
        target = per_cell(edges, end_m, truth.section_target_ml[:, index] * on)
        wanted = (worked_m >= CELL_M / 2) & (target > 0)
        np.divide(applied, target, where=wanted, out=ratios[:, index])
    return ratios


def per_cell(edges: Column, end_m: Column, amounts: Column) -> Column:
    """Share amounts, one an interval of the way, out to the cells between `edges`.

    `end_m` has where the way begins and where each interval ends.
    """
    running = np.concatenate([[0.0], np.cumsum(amounts)])
    return np.diff(np.interp(edges, end_m, running))
