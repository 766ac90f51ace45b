"""How the figures of a report are known: the truth of a simulated machine, or a measurement.

Every sentence that depends on it stands here, so that a report of a board never says more than
the board knew.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from host_sim.report.words import Teller


@dataclass(frozen=True)
class Basis:
    """The words of one kind of report; `line` labels the applied rate, `applied` heads it."""

    line: str
    applied: str
    put_down: str
    totals: str
    sections: str
    judged: str


TRUE = Basis(
    line="true",
    applied="applied",
    put_down="was really put down there",
    totals="Truth and belief",
    sections="",
    judged="the volume that left the outlets is set against the wanted rate times the true "
           "distance times the width of the sections switched on by hand. The errors are weighted "
           "with distance and taken over all ground covered while the controller was permitted to "
           "apply, from the first such moment on: start-up and section changes are in. Truth "
           "comes from the simulated machine; the controller never sees it.",
)
MEASURED = Basis(
    line="measured",
    applied="measured",
    put_down="the controller measured there",
    totals="Totals, as the controller counted them",
    sections="The volume of a section is its share by width: no sensor tells sections apart.",
    judged="the flow that the controller measured is set against the wanted rate times the speed "
           "that it measured times the width of the sections switched on by hand. The errors are "
           "weighted with distance and taken over all ground covered while the controller was "
           "permitted to apply, from the first such moment on: start-up and section changes are "
           "in. This shows how steadily the controller kept its own rate. A meter or a speed "
           "sensor that is off shifts everything alike and shows nowhere here: only a catch, a "
           "measured course and the tank tell.",
)


def basis_of(about: dict[str, Any]) -> Basis:
    """The words for a run."""
    return MEASURED if about.get("measured") else TRUE


def origin(about: dict[str, Any], tell: Teller) -> str:
    """Where a run comes from, in one sentence."""
    sections = len(about["section_width_m"])
    bar = (f"{sections} section{'s' if sections > 1 else ''}, "
           f"{tell.width(sum(about['section_width_m']))}")
    return (_recorded if about.get("measured") else _driven)(about, bar)


def _driven(about: dict[str, Any], bar: str) -> str:
    trace = about["speed_trace"]
    note = f" ({trace['note']})" if trace["note"] else ""
    return (f"A simulated drive: speed from {trace['name']}{note}, "
            f"machine {about['machine']['kind']}, {bar}, seed {about['seed']}.")


def _recorded(about: dict[str, Any], bar: str) -> str:
    board = about.get("board", {})
    kind = "a simulation" if about.get("simulated") else board.get("board", "of unknown kind")
    who = f"{kind}, firmware {board.get('firmware', 'unknown')}"
    began = [datetime.fromisoformat(text) for text in about.get("started", [])]
    when = f", begun {began[0]:%Y-%m-%d %H:%M} UTC" if began else ""
    sessions = f", in {len(began)} sessions" if len(began) > 1 else ""
    return f"Recorded from {about['machine']['kind']} ({who}){when}{sessions}; {bar}."
