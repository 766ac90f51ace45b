"""One run of the matrix: a machine, the state it is in, what breaks, and what came of it."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from random import Random

from host_sim.common.errors import InputError
from host_sim.trials.trust.breaks import BY_NAME, POWER_CYCLE, Break
from host_sim.trials.trust.machines import KIND_NAMES, ready
from host_sim.trials.trust.station import TICK_S, Station
from rate_control import faults
from rate_control.interlock import STATE_NAMES
from rate_control.units import SWITCH_MASTER, SWITCH_SECTION_SHIFT

WORK_M_S = 2.0
ROLL_M_S = 1.0
SETTLE_S = 16.0  # until every machine of the catalogue is steady
WATCH_S = 12.0  # from the strike to the moment when the person does something
OFF_S = 4.5  # that the person leaves the master off, to see whether it stops
AGAIN_S = 3.5
SECOND_WITHIN_S = 3.0  # in which the other one of a pair strikes
QUIET_M3_S = 0.5e-6  # less than this is dripping
DRAINED_S = 3.0  # after which no valve is closing any more and no hose is under pressure
SECOND_SECTION = 1 << SWITCH_SECTION_SHIFT + 1


def park(station: Station) -> None:
    """Everything permits but the master switch, which was never on."""
    station.lower(True)
    station.asked_m_s = WORK_M_S
    station.live(4.0)


def make_ready(station: Station) -> None:
    """Armed and moving on a headland, after some work: the implement is up."""
    apply(station)
    station.lower(False)
    station.live(6.0)


def apply(station: Station) -> None:
    """At work with section 2 switched off."""
    station.switch(SECOND_SECTION, False)
    station.arm()
    station.asked_m_s = WORK_M_S
    station.live(2.5)
    station.lower(True)
    station.live(SETTLE_S)


def bench(station: Station) -> None:
    """Standing, with the bench speed of ordinary work."""
    station.switch(SECOND_SECTION, False)
    station.live(2.0)
    station.arm()
    station.bench(round(1e3 * WORK_M_S))
    station.live(SETTLE_S)


def work_again(station: Station, look: Callable[[], None]) -> None:
    """What a person tries: master off, then on, implement down, drive."""
    station.switch(SWITCH_MASTER, False)
    station.live(OFF_S, look)
    station.switch(SWITCH_MASTER, True)
    station.lower(True)
    station.asked_m_s = WORK_M_S
    station.live(AGAIN_S, look)


def roll(station: Station, look: Callable[[], None]) -> None:
    """The machine begins to move while it is on the bench."""
    station.asked_m_s = ROLL_M_S
    station.live(AGAIN_S, look)


STATES: dict[str, tuple[Callable[[Station], None],
                        Callable[[Station, Callable[[], None]], None]]] = {
    "parked": (park, work_again),
    "ready": (make_ready, work_again),
    "applying": (apply, work_again),
    "bench": (bench, roll),
}


@dataclass(frozen=True)
class TrustCase:
    """What is tried. `names` are one fault or two; the second strikes a little later."""

    names: tuple[str, ...]
    state: str
    machine: str

    def __str__(self) -> str:
        return f"{'+'.join(self.names)}/{self.state}/{self.machine}"


def parse(text: str) -> TrustCase:
    """The case of its text. Raises InputError where a part of it is not known."""
    parts = text.split("/")
    if len(parts) != 3:
        raise InputError(f"--case {text}: must be FAULT[+FAULT]/STATE/MACHINE")
    names = tuple(parts[0].split("+"))
    for name, known, what in ((parts[1], list(STATES), "state"),
                              (parts[2], list(KIND_NAMES), "machine"),
                              *((name, list(BY_NAME), "fault") for name in names)):
        if name not in known:
            raise InputError(f"--case {text}: {what} must be one of {', '.join(known)}")
    return TrustCase(names, parts[1], parts[2])


@dataclass(frozen=True)
class TrustOutcome:
    """What came of a case. Times are seconds from the (first) strike; None where it never came.

    `shown` are the faults and warnings in their order. `noticed_s` is when the first of them
    came, or the controller left its state or began anew of itself; `safe_s` when the board drove
    nothing any more, before the person did anything. `runs_on` is whether liquid left the machine
    while the board drove nothing, `rolls_on` whether a bench went on in motion.
    """

    case: TrustCase
    shown: tuple[str, ...]
    noticed_s: float | None
    safe_s: float | None
    runs_on: bool
    rolls_on: bool
    broken: tuple[str, ...]


def brought(state: str, machine: str) -> Station:
    """A machine that has been brought into a state."""
    station = Station(ready(machine), f"{state}/{machine}")
    STATES[state][0](station)
    return station


_kept = cache(brought)  # to be copied for each case


def run_case(case: TrustCase) -> TrustOutcome:
    """Bring the machine into its state, break it, watch, and let the person act."""
    if ready(case.machine).spec.gnss.hz:  # its reader looks into a buffer: that is not copied
        station = brought(case.state, case.machine)
    else:
        station = copy.deepcopy(_kept(case.state, case.machine))
    return TrustRun(case, station).run()


class TrustRun:
    """One run, from the moment before the strike."""

    def __init__(self, case: TrustCase, station: Station) -> None:
        self._case = case
        self._station = station
        rng = Random(str(case))
        station.reseed(str(case))
        self._second_s = rng.uniform(0.0, SECOND_WITHIN_S) if len(case.names) > 1 else 0.0
        self._state = station.state
        self._was_on = station.outputs_on
        self._mask = station.controller.decided.faults
        self._shown: list[str] = []
        self._noticed_s: float | None = None
        self._starts = station.run.starts
        self._repaired = any(BY_NAME[name].program == POWER_CYCLE for name in case.names)
        self._off_ticks = self._most_off_ticks = 0  # in which liquid ran though nothing was driven
        self._safe_s: float | None = None
        self._ticks = 0

    def run(self) -> TrustOutcome:
        station = self._station
        if STATE_NAMES[self._state] != self._case.state:
            station.promises.broken.append(f"{self._case.state} was not reached")
        entries: list[Break] = [BY_NAME[name] for name in self._case.names]
        station.strike(entries[0])
        if len(entries) > 1:
            station.live(self._second_s, self._look)
            station.strike(entries[1])
        station.live(WATCH_S - self._second_s, self._look)
        STATES[self._case.state][1](station, self._look)
        rolls_on = (self._case.state == "bench" and station.outputs_on
                    and station.run.speed_m_s >= ROLL_M_S)
        return TrustOutcome(self._case, tuple(self._shown), self._noticed_s, self._safe_s,
                            self._most_off_ticks * TICK_S > DRAINED_S, rolls_on,
                            tuple(station.promises.broken))

    def _look(self) -> None:
        """After every tick."""
        station = self._station
        self._ticks += 1
        now_s = self._ticks * TICK_S
        mask = station.controller.decided.faults
        new = mask & ~self._mask
        self._mask = mask
        if new:
            self._shown += [name for name in faults.names(new) if name not in self._shown]
        on = station.outputs_on
        alone = now_s <= WATCH_S  # nobody has done anything yet
        left = alone and not self._repaired and (
            station.state != self._state or station.run.starts != self._starts)
        if (new or left) and self._noticed_s is None:
            self._noticed_s = now_s
        if alone and self._was_on and not self._repaired:
            if on:
                self._safe_s = None
            elif self._safe_s is None:
                self._safe_s = now_s
        runs = not on and station.machine.flow_m3_s > QUIET_M3_S
        self._off_ticks = self._off_ticks + 1 if runs else 0
        self._most_off_ticks = max(self._most_off_ticks, self._off_ticks)

