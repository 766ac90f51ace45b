"""A recording of a board as a run: the same columns as a run of the twin, but only measured.

Nobody knows the truth about a real machine. The columns named true_... hold what the controller
measured (speed sensor, flow meter shared among open sections by width; the pressure is not a
number), and `about` says so under "measured". What such a run shows is how steadily the
controller kept its own rate, never whether its sensors are right.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from app.telemetry import SUMS
from host_sim.errors import InputError
from host_sim.recording_file import Body, read_bodies
from host_sim.run_record import Column, RunRecord, section_column
from host_sim.versions import versions
from rate_control import trace
from rate_control.interlock import APPLYING, BENCH
from rate_control.intmath import LIMIT
from rate_control.units import TICK_US

WRAP = LIMIT + 1
US_PER_S = 1_000_000
TICKS_PER_S = US_PER_S // TICK_US
SAME_CLOCK_S = 3.0  # how far host and board may differ over a gap, besides 1 %


@dataclass
class Session:
    """What was recorded without an interruption. `rows` holds the numbers of all records."""

    started: datetime
    port: str
    names: list[str] = field(default_factory=list)
    settings: dict[str, Any] = field(default_factory=dict)
    rows: array[int] = field(default_factory=lambda: array("q"))

    def column(self, name: str) -> Column:
        """One number of every record."""
        table = np.frombuffer(self.rows, dtype=np.int64).reshape(-1, len(self.names))
        return table[:, self.names.index(name)].astype(np.float64)

    def __len__(self) -> int:
        return len(self.rows) // len(self.names) if self.names else 0


@dataclass
class Recording:
    """Everything in the file of a recording; `damaged` counts lines that are not whole."""

    sessions: list[Session]
    damaged: int


def read_recording(path: Path) -> Recording:
    """Read a recording. Raises InputError naming file and line."""
    sessions: list[Session] = []
    damaged = 0
    for number, body in read_bodies(path):
        if body is None:
            damaged += 1
            continue
        try:
            if "recording" in body:
                started = datetime.fromisoformat(body["started"])
                sessions.append(Session(started, str(body["port"])))
            elif sessions:
                _take(sessions[-1], body)
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise InputError(f"{path}:{number}: is no line of a recording: {error}") from error
    return Recording([session for session in sessions if len(session)], damaged)


def _take(session: Session, body: Body) -> None:
    if "hello" in body:
        session.names = [str(name) for name in body["hello"]["telemetry"]]
    elif "settings" in body:
        session.settings = dict(body["settings"])
    elif "telemetry" in body:
        numbers = body["telemetry"]
        if len(numbers) != len(session.names):
            raise ValueError(f"{len(numbers)} numbers for {len(session.names)} names")
        session.rows.extend(numbers)


def run_of(path: Path) -> RunRecord:
    """The run in a recording. Raises InputError where there is none, or of several machines."""
    recording = read_recording(path)
    if not recording.sessions:
        raise InputError(f"{path}: holds no telemetry")
    first = recording.sessions[0]
    if any(session.settings != first.settings for session in recording.sessions):
        raise InputError(f"{path}: the settings were changed between its sessions")
    columns = _columns(recording.sessions)
    widths_mm = first.settings["section_width_mm"][: first.settings["section_count"]]
    record = RunRecord(_measured(columns, widths_mm), _about(path, recording, columns))
    record.about["section_width_m"] = [width / 1000 for width in widths_mm]
    return record


def _columns(sessions: list[Session]) -> dict[str, Column]:
    """Time, the rate asked for and the trace, a row a record, over all sessions."""
    found = {name: np.concatenate([session.column(SUMS.get(name, name)) for session in sessions])
             for name in ("tick", "rate_ml_ha", *trace.FIELDS)}
    starts = np.cumsum([0] + [len(session) for session in sessions])
    time_s = np.empty(starts[-1])
    last_s = 0.0
    for session, start, end in zip(sessions, starts, starts[1:], strict=False):
        offset_s = (session.started - sessions[0].started).total_seconds()
        passed_us = np.cumsum(_steps(found["now_us"][start:end]))
        # the host's clock may have been set back in between; time never goes back
        time_s[start:end] = max(offset_s, last_s) + passed_us / US_PER_S
        last_s = time_s[end - 1]
    known = np.ones(starts[-1], dtype=bool)
    known[0] = False
    for start in starts[1:-1]:
        known[start] = _goes_on(found["tick"], time_s, start)
    for name in SUMS:
        found[name] = np.where(known, _steps(found[name]), 0.0)
    return {"time_s": time_s} | found


def _steps(counts: Column) -> Column:
    """How far a wrapping count went from row to row; 0 in the first."""
    return np.concatenate([[0.0], np.diff(counts) % WRAP])


def _goes_on(ticks: Column, time_s: Column, row: int) -> bool:
    """Whether the board ran through the gap before a row, so that its sums bridge it."""
    gap_s = time_s[row] - time_s[row - 1]
    ran_s = (ticks[row] - ticks[row - 1]) / TICKS_PER_S
    return bool(abs(ran_s - gap_s) <= SAME_CLOCK_S + 0.01 * gap_s)


def _measured(columns: dict[str, Column], widths_mm: list[int]) -> dict[str, Column]:
    """The columns of a run, with the measured in the place of the true."""
    run = {
        "time_s": columns["time_s"],
        "true_distance_m": np.cumsum(columns["distance_mm"]) / 1e3,
        "true_speed_m_s": columns["speed_mm_s"] / 1e3,
        "true_flow_ml_s": columns["flow_ul_s"] / 1e3,
        "true_pressure_bar": np.full(len(columns["time_s"]), np.nan),
        "hand_switches": columns["switches"],
        "wanted_ml_ha": columns["rate_ml_ha"],
    }
    mask = columns["section_mask"].astype(int)
    share = columns["volume_ul"] / 1e3 / np.maximum(columns["width_mm"], 1)
    for index, width_mm in enumerate(widths_mm):
        run[section_column(index)] = np.cumsum(share * width_mm * (mask >> index & 1))
    return run | {name: columns[name] for name in trace.FIELDS}


def _about(path: Path, recording: Recording, columns: dict[str, Column]) -> dict[str, Any]:
    sessions = recording.sessions
    state = columns["state"]
    metered_ul = columns["volume_ul"][state != BENCH].sum()
    covered_mm2 = (columns["distance_mm"] * columns["width_mm"])[state == APPLYING].sum()
    ends = [session.started.isoformat(timespec="seconds") for session in sessions]
    return {
        "title": f"{path.name}: measured by the controller itself, not the truth",
        "measured": True,
        "machine": {"kind": f"a board on {sessions[0].port}"},
        "settings": sessions[0].settings,
        "speed_trace": {"name": sessions[0].port, "note": f"recorded from {ends[0]}"},
        "seed": None,
        "events": [],
        "missed_events": [],
        "resets": [],
        "versions": versions(),
        "started": ends,
        "gaps_s": [round(float(after - before), 1) for before, after in _gaps(sessions, columns)],
        "damaged_lines": recording.damaged,
        "controller_volume_l": float(metered_ul) / 1e6,
        "controller_area_ha": float(covered_mm2) / 1e10,
    }


def _gaps(sessions: list[Session], columns: dict[str, Column]) -> list[tuple[float, float]]:
    """When each gap between sessions began and ended."""
    starts = np.cumsum([len(session) for session in sessions])[:-1]
    time_s = columns["time_s"]
    return [(time_s[start - 1], time_s[start]) for start in starts]
