"""A recorded run driven once more, by the twin of a machine file with the settings of that file.

The ground speed, the hand switches and the rate that was asked for are those of the record; what
becomes of them is the twin's.
"""

from __future__ import annotations

import numpy as np

from host_sim.common.errors import InputError
from host_sim.machine_file.machine import MachineFile
from host_sim.machine_file.twin_spec import spec_of
from host_sim.runs.record import RunRecord
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from rate_control.units import SWITCH_MASTER, SWITCH_SECTION_SHIFT

SEEN_OFF_S = 1.0  # what was on when the record began comes on then: the master is seen off first


def recorded_drive(name: str, record: RunRecord, machine: MachineFile, seed: int = 1) -> Scenario:
    """The scenario of a record. Raises InputError where the machine has other sections."""
    sections = machine.settings.section_count
    if record.section_count != sections:
        raise InputError(f"{machine.path}: has {sections} sections, and {name} is a run of a "
                         f"machine with {record.section_count}")
    time_s = record["time_s"] - record["time_s"][0]
    forward = np.concatenate([[True], np.diff(time_s) > 0.0])
    trace = SpeedTrace(f"as in {name}", tuple(time_s[forward].tolist()),
                       tuple(record["true_speed_m_s"][forward].tolist()), "recorded")
    return Scenario(f"{machine.title}: {name} once more", spec_of(machine), machine.settings, trace,
                    seed, _events(record, time_s.tolist(), sections))


def _events(record: RunRecord, time_s: list[float], sections: int) -> list[Event]:
    """A move of the hands for each row in which switches or rate are others than before."""
    switches = [int(value) for value in record["hand_switches"]]
    rates = [int(value) for value in record["wanted_ml_ha"]]
    before = ((1 << sections) - 1) << SWITCH_SECTION_SHIFT  # as a drive of the twin begins
    rate = -1
    events = []
    for at_s, now, asked in zip(time_s, switches, rates, strict=True):
        if at_s < SEEN_OFF_S:
            now &= ~SWITCH_MASTER
        if now != before or asked != rate:
            changed = asked if asked != rate and asked > 0 else None
            events.append(Event("as recorded", at_s=at_s, on=now & ~before, off=before & ~now,
                                rate_ml_ha=changed))
            before, rate = now, asked
    return events
