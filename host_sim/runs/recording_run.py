"""A recording of a board as a run: the same columns as a run of the twin, but only measured."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from app.telemetry import SUMS
from host_sim.common.errors import InputError, plain
from host_sim.common.versions import versions
from host_sim.runs.facts import columns_problem, is_moment, settings_problem
from host_sim.runs.measured import counted, measured_columns
from host_sim.runs.places import place_fact
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.recorder import PARTS
from host_sim.runs.recording_file import Body, read_bodies
from host_sim.runs.seen_events import seen_events
from rate_control import trace
from rate_control.intmath import LIMIT
from rate_control.units import TICK_US

BOARD_FACTS = ("board", "firmware", "reset")  # of what it answers to hello
BOARDS = ("Rp2Board", "Esp32Board")  # whatever else answers is taken to be a simulation
NEEDED_NUMBERS = ("tick", "rate_ml_ha", *(SUMS.get(name, name) for name in trace.FIELDS))
SECTIONS = ("section_count", "section_width_mm")  # without these nobody knows what got how much
WRAP = LIMIT + 1
US_PER_S = 1_000_000
TICKS_PER_S = US_PER_S // TICK_US
# What a report says of a recording that was not ended by a person.
CUT_OFF = {
    "stopped": "",
    "lost": "The line was lost and the recording ended before it was back: what the controller "
            "did after that is not known.",
    "power_off": "The trace on the card ends where the power went, or the card was taken out: the "
                 "last half second before that is not in it.",
    "": "The recording breaks off: the recorder or its computer was stopped in the middle. All "
        "but the last second before that is here; what came after is not known.",
}
SAME_CLOCK_S = 3.0  # how far host and board may differ over a gap, besides 1 %


@dataclass
class RecordedSession:
    """What was recorded without an interruption. `rows` holds the numbers of all records.

    `line` is where it begins in the file.
    `started` is None where a board kept it by itself, which has no clock. `end` is what closed it:
    "stopped", "lost" (the line), "power_off" (on a card), or "" where nothing did.
    """

    line: int
    started: datetime | None
    port: str
    end: str = ""
    board: dict[str, str] = field(default_factory=dict)
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

    sessions: list[RecordedSession]
    damaged: int


def read_recording(path: Path) -> Recording:
    """Read a recording. Raises InputError naming file and line."""
    sessions: list[RecordedSession] = []
    damaged = 0
    for number, body in read_bodies(path):
        if body is None:
            damaged += 1
            continue
        try:
            if "recording" in body:
                sessions.append(RecordedSession(number, _moment(body["started"]),
                                                str(body["port"])))
            elif sessions:
                _take(sessions[-1], body)
                damaged += _count(body.get("damaged", 0))
        except KeyError as error:
            raise InputError(f"{path}:{number}: is no line of a recording: {error.args[0]}: "
                             "is missing") from error
        except (TypeError, ValueError, OverflowError) as error:
            raise InputError(f"{path}:{number}: is no line of a recording: {error}") from error
    return Recording([session for session in sessions if len(session)], damaged)


def _moment(text: Any) -> datetime | None:
    """When a session began."""
    if text is None:
        return None
    if not is_moment(text):
        raise ValueError("started: must be a moment with its time zone, or null")
    return datetime.fromisoformat(text)


def _count(value: Any) -> int:
    if not isinstance(value, int) or not 0 <= value <= LIMIT:
        raise ValueError("damaged: must be a count")
    return value


def _take(session: RecordedSession, body: Body) -> None:
    if "hello" in body:
        hello = body["hello"]
        if len(session):
            raise ValueError("hello: comes in the middle of a session")
        session.names = [str(name) for name in hello["telemetry"]]
        for name in NEEDED_NUMBERS:
            if session.names.count(name) != 1:
                raise ValueError(f"hello.telemetry: must name {name} once")
        session.board = {name: str(hello[name]) for name in BOARD_FACTS if name in hello}
    elif "settings" in body:
        session.settings = dict(body["settings"])
        for name in SECTIONS:
            if name not in session.settings:
                raise ValueError(f"settings.{name}: is missing")
        problem = settings_problem(session.settings, "settings.")
        if problem:
            raise ValueError(problem)
    elif "telemetry" in body:
        numbers = body["telemetry"]
        if len(numbers) != len(session.names):
            raise ValueError(f"{len(numbers)} numbers for {len(session.names)} names")
        session.rows.extend(numbers)
    for end in CUT_OFF:
        if end in body:
            session.end = end


def run_of(path: Path) -> RunRecord:
    """The run in a recording. Raises InputError where there is none, or of several machines."""
    recording = read_recording(path)
    if not recording.sessions:
        raise InputError(f"{path}: holds no telemetry")
    first = recording.sessions[0]
    if not first.settings:
        raise InputError(f"{path}: the settings of the board are not in it")
    _check_sessions(path, recording.sessions)
    columns = _columns(recording.sessions)
    widths_mm = first.settings["section_width_mm"][: first.settings["section_count"]]
    run = measured_columns(columns, widths_mm)
    found = columns_problem(run)
    if found:
        row, problem = found
        raise InputError(f"{path}: record {row + 1}: {problem}")
    about = _about(path, recording, columns)
    about["section_width_m"] = [width / 1000 for width in widths_mm]
    about["events"] = seen_events(run, len(widths_mm))
    return RunRecord(run, about)


def _check_sessions(path: Path, sessions: list[RecordedSession]) -> None:
    """Raise InputError for a session without settings, of other sections, or there twice."""
    for index, session in enumerate(sessions):
        if not session.settings:  # its line is damaged, and nobody knows what it said
            raise InputError(f"{path}:{session.line}: the settings of the board are not in what "
                             "begins here")
        if any(session.settings.get(name, first) != first
               for name, first in sessions[0].settings.items() if name in SECTIONS):
            raise InputError(f"{path}:{session.line}: other sections than before: from this line "
                             "on it is a run of its own: put it into a file of its own")
        if any(session.rows == other.rows and session.started == other.started
               for other in sessions[:index]):
            raise InputError(f"{path}:{session.line}: the same as before once more: from this "
                             "line on cut it off")


def _changed(sessions: list[RecordedSession]) -> list[str]:
    """The settings that are not in all sessions what they are in the first, in its order.

    The rate is none of them: each record has it.
    """
    return [name for name, value in sessions[0].settings.items()
            if name != "rate_ml_ha"
            and any(session.settings.get(name, value) != value for session in sessions)]


def _columns(sessions: list[RecordedSession]) -> dict[str, Column]:
    """Time, the rate asked for and the trace, a row a record, over all sessions."""
    more = [name for name in PARTS if all(name in one.names for one in sessions)]
    found = {name: np.concatenate([session.column(SUMS.get(name, name)) for session in sessions])
             for name in ("tick", "rate_ml_ha", *trace.FIELDS, *more)}
    starts = np.cumsum([0] + [len(session) for session in sessions])
    time_s = np.empty(starts[-1])
    last_s = 0.0
    for session, start, end in zip(sessions, starts, starts[1:], strict=False):
        offset_s = _after_s(sessions[0].started, session.started)
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
    found["wanted_ml_ha"] = found.pop("rate_ml_ha")
    return {"time_s": time_s} | found


def _after_s(first: datetime | None, moment: datetime | None) -> float:
    """How long after the first session another one began; nobody knows it of a board's own."""
    return (moment - first).total_seconds() if moment and first else 0.0


def _steps(counts: Column) -> Column:
    """How far a wrapping count went from row to row; 0 in the first."""
    return np.concatenate([[0.0], np.diff(counts) % WRAP])


def _goes_on(ticks: Column, time_s: Column, row: int) -> bool:
    """Whether the board ran through the gap before a row, so that its sums bridge it."""
    gap_s = time_s[row] - time_s[row - 1]
    ran_s = (ticks[row] - ticks[row - 1]) / TICKS_PER_S
    return bool(abs(ran_s - gap_s) <= SAME_CLOCK_S + 0.01 * gap_s)


def _about(path: Path, recording: Recording, columns: dict[str, Column]) -> dict[str, Any]:
    sessions = recording.sessions
    began = [session.started.isoformat(timespec="seconds") for session in sessions
             if session.started]
    note = f"recorded from {began[0]}" if began else "recorded by the board itself, without a clock"
    about = counted(columns) | place_fact(columns) | {
        "title": f"{plain(path.name)}: measured by the controller itself, not the truth",
        "measured": True,
        "machine": {"kind": f"a board on {sessions[0].port}"},
        "board": sessions[-1].board,
        "simulated": any(session.board.get("board") not in BOARDS for session in sessions),
        "settings": sessions[0].settings,
        "settings_changed": _changed(sessions),
        "speed_trace": {"name": sessions[0].port, "note": note},
        "seed": None,
        "missed_events": [],
        "resets": [],
        "versions": versions(),
        "started": began,
        "gaps_s": [round(float(after - before), 1) for before, after in _gaps(sessions, columns)],
        "damaged_lines": recording.damaged,
        "cut_off": CUT_OFF[sessions[-1].end],
    }
    if not began:
        del about["started"]
    return about


def _gaps(sessions: list[RecordedSession], columns: dict[str, Column]) -> list[tuple[float, float]]:
    """When each gap between sessions began and ended."""
    starts = np.cumsum([len(session) for session in sessions])[:-1]
    time_s = columns["time_s"]
    return [(time_s[start - 1], time_s[start]) for start in starts]
