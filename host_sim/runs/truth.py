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

from host_sim.runs.judged import AT_WORK, CELL_M, M2_HA
from host_sim.runs.measured import estimated_steps
from host_sim.runs.record import Column, RunRecord
from rate_control.interlock import APPLYING
from rate_control.units import SWITCH_SECTION_SHIFT

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Truth:
    """An entry for each interval; `sections` arrays have a row for each and a column a section.

    `volume_ml` left the orifices, `target_ml` should have: wanted rate x distance x width of
    the sections switched on by hand. `permitted` marks the intervals in which the interlock
    permitted applying, `asked` those in which the hands asked for it: master on, implement down.
    """

    section_width_m: list[float]
    time_s: Column
    distance_m: Column
    step_m: Column
    permitted: Flags
    asked: Flags
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
        asked=on_by_hand & AT_WORK == AT_WORK,
        section_on=section_on,
        section_volume_ml=section_ml,
        section_target_ml=record["wanted_ml_ha"][1:, None] * area_ha * section_on,
    )


@dataclass(frozen=True)
class Ground:
    """The ground in metres along the way: a row a metre, a column a section.

    `worked_m` of each metre the section was to be at work, and there `applied_ml` came out of it
    where `target_ml` should have.
    """

    worked_m: Column
    applied_ml: Column
    target_ml: Column

    @property
    def error(self) -> Column:
        """Applied over wanted less 1; not a number where nothing was wanted."""
        return self._ratio(self.target_ml > 0.0) - 1.0

    @property
    def shown(self) -> Column:
        """Applied over wanted; not a number on metres that were worked for less than half."""
        return self._ratio((self.worked_m >= CELL_M / 2) & (self.target_ml > 0.0))

    def of_section(self, index: int) -> Ground:
        """The part that lies below one section."""
        one = slice(index, index + 1)
        return Ground(self.worked_m[:, one], self.applied_ml[:, one], self.target_ml[:, one])

    def _ratio(self, where: Flags) -> Column:
        blank = np.full_like(self.target_ml, np.nan)
        ratio: Column = np.divide(self.applied_ml, self.target_ml, where=where, out=blank)
        return ratio


def ground_of(truth: Truth, working: Flags) -> Ground:
    """The ground on which the sections were to be at work: `working` intervals, switched on."""
    end_m = np.append(truth.distance_m, truth.distance_m[-1] + truth.step_m[-1])
    edges = np.arange(max(np.ceil(end_m[-1] / CELL_M - 1e-6), 1.0) + 1.0) * CELL_M
    on = working[:, None] & truth.section_on

    def cells(amounts: Column) -> Column:
        return np.column_stack([per_cell(edges, end_m, amounts[:, index] * on[:, index])
                                for index in range(on.shape[1])])

    return Ground(cells(np.repeat(truth.step_m[:, None], on.shape[1], axis=1)),
                  cells(truth.section_volume_ml), cells(truth.section_target_ml))


def ground_cells(truth: Truth) -> Column:
    """Applied over wanted on each metre of the way: a row a metre, a column a section.

    Wanted is where the hands asked for it, whatever the controller made of that: ground that is
    missed at a start, or in a fault, is in. Not a number where on less than half of the metre
    the section was to be at work.
    """
    return ground_of(truth, truth.asked).shown


def per_cell(edges: Column, end_m: Column, amounts: Column) -> Column:
    """Share amounts, one an interval of the way, out to the cells between `edges`.

    `end_m` has where the way begins and where each interval ends.
    """
    running = np.concatenate([[0.0], np.cumsum(amounts)])
    return np.diff(np.interp(edges, end_m, running))
