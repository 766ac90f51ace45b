"""What the last minute would have been with another setting: replayed twice, judged side by side.

Two fresh machines of the same seed get what hands did, what was broken, and the true speed of the
last minute; one has the settings as they are, the other the changed one. Both come to the first
moment of that minute at work and settled, so that the setting is all that differs. What the two
leave on the ground is compared with each other, not with the minute as it was driven: its ground
was another piece of the field.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from host_sim.machine_file.homes import ROWS, key_of
from host_sim.machine_file.values import differences, show, with_changes
from host_sim.panel.breakage import Breakage
from host_sim.panel.ground_cells import Cell, in_frame
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.vehicle import RECORDED, Vehicle
from host_sim.twin.scenario import Scenario
from rate_control import faults, trace
from rate_control.settings import COUNT, NAME, Settings
from rate_control.settings_table import MEANING
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, TICK_US

SPAN_S = 60.0
LEAD_S = 15.0  # before it: armed, lowered, at speed, settled
OFF_S = 1.0  # of that, with the master seen off
TICKS = round(SPAN_S * 1e6) // TICK_US
WITHIN = 0.05
FAULTS = trace.FIELDS.index("faults")
# Asked for in another place, about what people see, or the shape of the machine.
NOT_HERE = ("rate_ml_ha", "us_units", "section_count", "actuator", "speed_source")

Done = tuple[float, str, list[Any]]  # when, and a command of a page


@dataclass(frozen=True)
class Minute:
    """What was so in the last minute, a value a tick, and what was done that is no switch.

    `done` holds everything since power-up that still acts; its times count from the minute's
    beginning, so what came before is below zero.
    """

    speed_m_s: Sequence[float]
    switches: Sequence[int]
    wanted_ml_ha: Sequence[int]
    done: Sequence[Done]


@dataclass(frozen=True)
class Replayed:
    """What one machine left on the ground, and the faults and warnings that it had."""

    cells: list[Cell]
    faults: int

    def figures(self) -> dict[str, Any]:
        """Of the metres of all sections; none where nothing was wanted."""
        errors = [ratio - 1.0 for _, ratios in self.cells for ratio in ratios if ratio is not None]
        count = len(errors)
        return {
            "within_pct": 100 * sum(abs(error) <= WITHIN for error in errors) / count
            if count else None,
            "rms_pct": 100 * math.sqrt(sum(error * error for error in errors) / count)
            if count else None,
            "mean_pct": 100 * sum(errors) / count if count else None,
            "faults": [name.replace("_", " ") for name in faults.names(self.faults)],
        }


def offered(settings: Settings, us: bool) -> list[tuple[str, str, str]]:
    """Key, value and meaning of each setting that can be asked about."""
    return [(key_of(entry[NAME]), show(entry, getattr(settings, entry[NAME]), us),
             str(entry[MEANING]))
            for entry in ROWS if entry[COUNT] == 1 and entry[NAME] not in NOT_HERE]


def changed(settings: Settings, text: str, us: bool) -> Settings:
    """The settings with a change such as "settling_time=3 s". Raises InputError."""
    return with_changes(settings, [text], us)


def replay(scenario: Scenario, settings: Settings, minute: Minute) -> Replayed:
    """The minute on a fresh machine with these settings.

    It gets the rates that were wanted then, whether a person, a zone or a plot asked for them.
    """
    twin = LiveTwin(replace(scenario, settings=settings, zones=b"", plan=b""))
    vehicle = _Follower()
    twin.vehicle = vehicle
    do = Breakage(twin).do
    todo = list(minute.done)
    switches, speed_m_s = minute.switches[0], minute.speed_m_s[0]
    vehicle.speed_m_s = speed_m_s
    _act(do, todo, 0.0)
    twin.board.switches = switches & ~(SWITCH_MASTER | SWITCH_IMPLEMENT)
    twin.live(OFF_S)
    twin.board.switches = switches
    _ask(twin, minute.wanted_ml_ha[0])
    twin.live(LEAD_S - OFF_S)
    twin.cells.take()
    seen = 0
    for tick, speed_m_s in enumerate(minute.speed_m_s):
        _act(do, todo, tick * TICK_US / 1e6)
        vehicle.speed_m_s = speed_m_s
        twin.board.switches = minute.switches[tick]
        _ask(twin, minute.wanted_ml_ha[tick])
        twin.live(TICK_US / 1e6)
        seen |= twin.application.ring.newest()[FAULTS]
    return Replayed(twin.cells.take(), seen)


class _Follower(Vehicle):
    """Goes as fast as it is told, with the unevenness that is in a true speed already."""

    def __init__(self) -> None:
        super().__init__(None)
        self.mode = RECORDED

    def advance(self, step_s: float) -> float:
        return self.speed_m_s


def _act(do: dict[str, Callable[..., Any]], todo: list[Done], now_s: float) -> None:
    while todo and todo[0][0] <= now_s:
        _, name, arguments = todo.pop(0)
        do[name](*arguments)


def _ask(twin: LiveTwin, rate_ml_ha: int) -> None:
    """Ask for the rate, as a person would who knows it by heart."""
    if twin.application.controller.request.rate_ml_ha != rate_ml_ha:
        twin.application.set_rate(rate_ml_ha)
    twin.wanted_ml_ha = rate_ml_ha


def compared(scenario: Scenario, settings: Settings, other: Settings, minute: Minute, us: bool
             ) -> dict[str, Any]:
    """Both replays for a page: what differs, and the ground and the figures of each."""
    change, *_ = differences(settings, other, us)
    sides = [(change.old, replay(scenario, settings, minute)),
             (change.new, replay(scenario, other, minute))]
    first = min((side.cells[0][0] for _, side in sides if side.cells), default=0)
    return {"name": change.name, "sides": [
        {"words": words, "cells": in_frame([(number - first, ratios)
                                            for number, ratios in side.cells])} | side.figures()
        for words, side in sides]}
