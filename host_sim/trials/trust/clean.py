"""Clean hours: field work with random builds of every kind, in which nothing breaks.

Whatever the controller shows there is a false alarm. A build is one of the campaign's: drawn
from the spreads of every parameter, set up by a careful but not perfect owner, tuned by nothing
but its own procedures.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from random import Random

from host_sim.common.parallel import run_all
from host_sim.trials.acceptance.sequence import unit_rate_l_ha
from host_sim.trials.campaign.build import draw_build
from host_sim.trials.commissioning.commission import commission
from host_sim.trials.commissioning.performed import BenchError
from host_sim.trials.trust.machines import Ready, flash_with
from host_sim.trials.trust.station import TICK_S, Station
from rate_control import faults
from rate_control.settings import build
from rate_control.units import SWITCH_MASTER, SWITCH_SECTION_SHIFT

FIRST_SEED = 501
HOURS = 100
RATES = (2, 3, 4)  # hundreds of L/ha, scaled to the machine as in the acceptance test
MOST = 7.5  # hundreds of L/ha times m/s: three quarters of what the scale allows
SPEEDS_M_S = (1.0, 2.4)


@dataclass(frozen=True)
class Hour:
    """What came of a build: `alarms` are (time in s, name). A failure is why it never drove."""

    seed: int
    kind: str
    hours: float
    alarms: tuple[tuple[float, str], ...] = ()
    broken: tuple[str, ...] = ()
    failure: str = ""


def drive_clean(seed: int, hours: float = 1.0) -> Hour:
    """Draw, set up and drive so long."""
    gc.freeze()
    drawn = draw_build(seed)
    try:
        learned = commission(drawn.spec, seed, drawn.wish, drawn.slips).settings
    except BenchError as error:
        return Hour(seed, drawn.kind, 0.0, failure=str(error))
    unit_ml_ha = 1000 * unit_rate_l_ha(learned)
    settings, problems = build({"rate_ml_ha": RATES[1] * unit_ml_ha}, learned)
    assert settings is not None, problems
    machine = Ready(drawn.spec, settings, flash_with(drawn.spec, settings))
    day = Day(Station(machine, str(seed)), unit_ml_ha, Random(f"clean {seed}"))
    return day.work(seed, drawn.kind, hours)


class Day:
    """A person at field work: passes, headlands, sections, speeds, a rest now and then."""

    def __init__(self, station: Station, unit_ml_ha: int, rng: Random) -> None:
        self._station = station
        self._unit_ml_ha = unit_ml_ha
        self._rng = rng
        self._ticks = 0
        self._mask = 0
        self._alarms: list[tuple[float, str]] = []
        self._count = station.settings.section_count
        self._all = ((1 << self._count) - 1) << SWITCH_SECTION_SHIFT

    def work(self, seed: int, kind: str, hours: float) -> Hour:
        """Live so long."""
        self._live(0.5)
        self._station.switch(SWITCH_MASTER, True)
        while self._ticks * TICK_S < hours * 3600.0:
            self._pass()
            self._headland()
        return Hour(seed, kind, self._ticks * TICK_S / 3600.0, tuple(self._alarms),
                    tuple(self._station.promises.broken))

    def _pass(self) -> None:
        """Down, and along the field with all that happens there."""
        station, rng = self._station, self._rng
        rate = rng.choice(RATES)
        station.run.application.set_rate(rate * self._unit_ml_ha)
        most_m_s = min(SPEEDS_M_S[1], MOST / rate)
        station.asked_m_s = rng.uniform(SPEEDS_M_S[0], most_m_s)
        self._live(rng.uniform(1.0, 3.0))
        station.lower(True)
        for _ in range(rng.randint(3, 12)):
            self._live(rng.uniform(3.0, 10.0))
            kind = rng.random()
            if kind < 0.4:
                changed = station.hands ^ 1 << SWITCH_SECTION_SHIFT + rng.randrange(self._count)
                if changed & self._all:
                    station.hands = changed
            elif kind < 0.8:
                wanted = station.asked_m_s * rng.uniform(0.8, 1.25)
                station.asked_m_s = min(max(wanted, SPEEDS_M_S[0]), most_m_s)

    def _headland(self) -> None:
        """Up and round, or a stop, now and then with the master off."""
        station, rng = self._station, self._rng
        kind = rng.random()
        if kind < 0.2:  # stop first, as at an obstacle
            station.asked_m_s = 0.0
            self._live(rng.uniform(2.0, 4.0))
        station.lower(False)
        station.switch(self._all, True)
        if kind >= 0.2:
            station.asked_m_s = rng.uniform(0.8, 1.5)
        self._live(rng.uniform(3.0, 15.0))
        if kind > 0.9:
            station.switch(SWITCH_MASTER, False)
            self._live(rng.uniform(1.0, 10.0))
            station.switch(SWITCH_MASTER, True)

    def _live(self, seconds: float) -> None:
        self._station.live(seconds, self._look)

    def _look(self) -> None:
        self._ticks += 1
        mask = self._station.controller.decided.faults
        new = mask & ~self._mask
        self._mask = mask
        for name in faults.names(new) if new else ():
            self._alarms.append((round(self._ticks * TICK_S, 2), name))


def drive_hours(hours: int, pool: Executor | None, tell: Callable[[float], None]) -> list[Hour]:
    """As many builds as hours, an hour each, with the seeds that follow FIRST_SEED."""
    return run_all(drive_clean, range(FIRST_SEED, FIRST_SEED + hours), pool, tell)
