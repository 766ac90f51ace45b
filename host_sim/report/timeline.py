"""What happened when: what hands did, what the controller made of it, faults and resets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host_sim.report.words import Teller
from host_sim.run_record import RunRecord
from rate_control import faults
from rate_control.interlock import STATE_NAMES

LONGEST = 200


@dataclass(frozen=True)
class Moment:
    """A row of the table: number (hands only), time, place, who, what."""

    number: str
    time_s: float
    place: str
    who: str
    what: str


def timeline(record: RunRecord, teller: Teller) -> list[Moment]:
    """Everything in the order of time, cut after LONGEST rows."""
    moments = [
        Moment(str(number), event["time_s"], teller.length(event["distance_m"]), event["who"],
               event["words"] + (f" ({event['note']})" if event["note"] else ""))
        for number, event in enumerate(record.about.get("events", []), start=1)
    ]
    moments += _changes(record, teller)
    moments.sort(key=lambda moment: moment.time_s)
    return moments[:LONGEST]


def _changes(record: RunRecord, teller: Teller) -> list[Moment]:
    """Changes of state, and faults and warnings that come and go."""
    found = []
    for column, words in (("state", _state_words), ("faults", _fault_words)):
        values = record[column].astype(int)
        for index in np.flatnonzero(np.diff(values)) + 1:
            what = words(int(values[index - 1]), int(values[index]))
            found.append(Moment("", float(record["time_s"][index]),
                                teller.length(float(record["true_distance_m"][index])),
                                "controller", what))
    return found


def _state_words(_: int, after: int) -> str:
    return STATE_NAMES[after]


def _fault_words(before: int, after: int) -> str:
    parts = [f"{name.replace('_', ' ')} begins" for name in faults.names(after & ~before)]
    parts += [f"{name.replace('_', ' ')} ends" for name in faults.names(before & ~after)]
    return ", ".join(parts)
