"""Rows of a run as they come, one a tick; record.py makes columns of them at its end.

Nothing here needs numpy before that, so that a drive can go on where there is none.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from app.coverage import NAMES as COVERAGE
from app.position import NAMES as POSITION
from app.pressure_watch import NAMES as PRESSURE
from rate_control import trace

if TYPE_CHECKING:
    from host_sim.runs.record import RunRecord

# What is true: name and digits kept. Sections follow, then the controller's trace line.
TRUTH = (
    ("time_s", 2),
    ("true_distance_m", 6),
    ("true_speed_m_s", 4),
    ("true_flow_ml_s", 4),
    ("true_pressure_bar", 4),
    ("hand_switches", 0),
    ("wanted_ml_ha", 0),
)
# Where it is, in runs that know it; an earlier run has no such columns.
PLACE = (
    ("true_east_m", 3),
    ("true_north_m", 3),
    ("true_heading_deg", 2),
)
PLACED = (*POSITION, *COVERAGE)  # what those that know the place add to its trace
PARTS = (*PLACED, *PRESSURE)  # what parts of the firmware may add to its trace
SECTION = "true_section_"
SECTION_DIGITS = 5


def section_column(index: int) -> str:
    """Name of the column with the volume that a section (0 is the first) has let out so far."""
    return f"{SECTION}{index + 1}_ml"


class RowRecorder:
    """Collects rows cheaply while a run goes on.

    `place` adds the columns of PLACE, `more` what parts of the firmware add to its trace.
    """

    def __init__(self, section_count: int, place: bool = False, more: Sequence[str] = ()) -> None:
        self._names = [name for name, _ in (*TRUTH, *(PLACE if place else ()))]
        self._names += [section_column(index) for index in range(section_count)]
        self._traced = [*trace.FIELDS, *more]
        self._truth = array("d")
        self._trace = array("i")

    def add(self, truth: Sequence[float], trace_line: Sequence[int]) -> None:
        """Add a row: the truth in the order of the columns, then the trace line.

        A firmware that was started anew with other settings may trace more, or less: 0 then.
        """
        self._truth.extend(truth)
        width = len(self._traced)
        self._trace.extend(trace_line[:width])
        self._trace.extend([0] * (width - len(trace_line)))

    def __len__(self) -> int:
        return len(self._trace) // len(self._traced)

    def last(self, rows: int) -> list[tuple[float, ...]]:
        """The truth of the newest rows, at most so many."""
        width = len(self._names)
        tail = self._truth[-rows * width:]
        return [tuple(tail[place : place + width]) for place in range(0, len(tail), width)]

    def let_go(self, rows: int) -> tuple[float, ...]:
        """Forget so many of the oldest rows; returns the truth of the last of them."""
        width = len(self._names)
        last = tuple(self._truth[(rows - 1) * width : rows * width])
        del self._truth[: rows * width]
        del self._trace[: rows * len(self._traced)]
        return last

    def finish(self, about: dict[str, Any]) -> RunRecord:
        """The record of all rows so far."""
        import numpy as np

        from host_sim.runs.record import RunRecord

        truth = np.array(self._truth, dtype=np.float64).reshape(-1, len(self._names))
        traced = np.array(self._trace, dtype=np.float64).reshape(-1, len(self._traced))
        columns = {name: truth[:, i].copy() for i, name in enumerate(self._names)}
        columns |= {name: traced[:, i].copy() for i, name in enumerate(self._traced)}
        return RunRecord(columns, about)
