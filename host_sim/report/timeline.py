"""What happened when: what hands did, what the controller made of it and why, faults."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.words import missing
from host_sim.report.words import Teller
from host_sim.runs.record import RunRecord
from rate_control import faults
from rate_control.interlock import (
    APPLYING_PERMITS,
    FAULT,
    PARKED,
    READY,
    SET_UP,
    SETTINGS_WHOLE,
    STATE_NAMES,
)

LONGEST = 200
# states in which the missing permits say why nothing is applied
WAITING = (PARKED, READY)


@dataclass(frozen=True)
class Moment:
    """A row of the table: number (hands only), time, place, who, what."""

    number: str
    time_s: float
    place: str
    who: str
    what: str


def timeline(record: RunRecord, teller: Teller) -> list[Moment]:
    """Everything in the order of time, cut after LONGEST rows; the last row then says so."""
    moments = [
        Moment(str(number), event["time_s"], teller.length(event["distance_m"]), event["who"],
               event["words"] + (f" ({event['note']})" if event["note"] else ""))
        for number, event in enumerate(record.about.get("events", []), start=1)
    ]
    moments += _changes(record, teller)
    moments.sort(key=lambda moment: moment.time_s)
    if len(moments) > LONGEST:
        first = moments[LONGEST]
        more = f"and {len(moments) - LONGEST} more from here on, not shown"
        moments[LONGEST:] = [Moment("", first.time_s, first.place, "", more)]
    return moments


def _changes(record: RunRecord, teller: Teller) -> list[Moment]:
    """Changes of state, and faults and warnings that come and go."""
    found = []
    for column, words in (("state", _state_words), ("faults", _fault_words)):
        values = record[column].astype(int)
        for row in (np.flatnonzero(np.diff(values)) + 1).tolist():
            found.append(Moment("", float(record["time_s"][row]),
                                teller.length(float(record["true_distance_m"][row])),
                                "controller", words(record, row)))
    return found


def _state_words(record: RunRecord, row: int) -> str:
    """The state, and where it waits or failed, why."""
    state = int(record["state"][row])
    reasons: list[str] = []
    if state in WAITING:
        reasons = missing(int(record["permits"][row]), _permits_wanted(record))
    elif state == FAULT:
        reasons = _spoken(int(record["faults"][row]) & faults.BLOCKING)
    return STATE_NAMES[state] + (f": {', '.join(reasons)}" if reasons else "")


def _permits_wanted(record: RunRecord) -> int:
    """The permits that applying needed; an older firmware did not have those of the settings."""
    of_settings = SETTINGS_WHOLE | SET_UP  # one of them is always there
    seen = int(np.bitwise_or.reduce(record["permits"].astype(int)))
    return APPLYING_PERMITS if seen & of_settings else APPLYING_PERMITS & ~of_settings


def _fault_words(record: RunRecord, row: int) -> str:
    before, after = (int(record["faults"][index]) for index in (row - 1, row))
    parts = [f"{name} begins ({words})" for name, words in _explained(after & ~before)]
    parts += [f"{name} ends" for name in _spoken(before & ~after)]
    return ", ".join(parts)


def _spoken(mask: int) -> list[str]:
    return [name for name, _ in _explained(mask)]


def _explained(mask: int) -> list[tuple[str, str]]:
    """Name and words of each fault: what it is, and where to look first."""
    return [(row[1].replace("_", " "), row[4]) for row in faults.TABLE if row[0] & mask]
