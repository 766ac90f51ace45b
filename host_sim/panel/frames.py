"""What is new since the last frame, in the compact form in which pages get it."""

from __future__ import annotations

import math
from typing import Any

from host_sim.panel.controller_view import ControllerView, Row
from host_sim.panel.feed import Frame
from host_sim.panel.ground_cells import Cell, in_frame
from host_sim.panel.hello import BELIEVED
from host_sim.panel.swath_slabs import SwathSlabs


class Changes:
    """Lets what has not changed out of the frames."""

    def __init__(self) -> None:
        self._told: Frame = {}

    def forget(self) -> None:
        """Tell everything again: pages begin anew."""
        self._told = {}

    def add(self, frame: Frame, name: str, value: Any) -> None:
        """Put a value into a frame where it differs from the last one told."""
        if self._told.get(name) != value:
            self._told[name] = frame[name] = value


def frame_of(view: ControllerView, rows: list[list[Any]], changes: Changes) -> Frame:
    """What is new of the controller."""
    frame: Frame = {"rows": rows}
    add_cells(frame, "believed", view.cells.take())
    add_slabs(frame, "believed", view.slabs, changes)
    changes.add(frame, "words", view.words)
    return frame


def add_cells(frame: Frame, name: str, cells: list[Cell]) -> None:
    """Put cells into a frame, each as a list: its number, then a ratio for each section."""
    if cells:
        frame[name] = in_frame(cells)


def add_slabs(frame: Frame, whose: str, slabs: SwathSlabs, changes: Changes) -> None:
    """Put the slabs of a map into a frame, and where the bar is with the one that grows there."""
    if finished := slabs.take():
        frame[f"{whose}_slabs"] = finished
    changes.add(frame, f"{whose}_bar", {"at": slabs.at_told(), "growing": slabs.growing()})


def numbers(row: Row, true: tuple[float, ...] = ()) -> list[Any]:
    """A row of telemetry, then what is true, in the order of the columns of hello.py."""
    line = [row[name] for name in BELIEVED]
    line[0] = round(row["time_s"], 2)
    line[1] = round(row["way_m"], 3)
    return line + [None if math.isnan(value) else round(value) for value in true]
