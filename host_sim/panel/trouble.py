"""What a person can break on the machine of the panel, and mend again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from host_sim.panel.live_twin import LiveTwin
from host_sim.plant.units import ML_M3

WEAK_BATTERY = 0.3  # share of the voltage that is missing
AIR_ML = 50.0


@dataclass(frozen=True)
class Trouble:
    """One switchable fault: its word on the link to the page, its words for people."""

    name: str
    words: str
    set: Callable[[LiveTwin, bool], None]


def _meter(twin: LiveTwin, on: bool) -> None:
    twin.faults.meter_stalled = on


def _speed(twin: LiveTwin, on: bool) -> None:
    twin.faults.speed_lost = on


def _pump(twin: LiveTwin, on: bool) -> None:
    twin.pump_dead = on


def _battery(twin: LiveTwin, on: bool) -> None:
    twin.faults.supply_drop_v = WEAK_BATTERY * twin.supply_v if on else 0.0


def _air(twin: LiveTwin, on: bool) -> None:
    twin.faults.air_m3 = AIR_ML * ML_M3 if on else 0.0


TROUBLES = (
    Trouble("meter_stalled", "flow meter stuck", _meter),
    Trouble("speed_lost", "speed signal lost", _speed),
    Trouble("pump_dead", "pump without drive", _pump),
    Trouble("battery_weak", "battery weak", _battery),
    Trouble("air", "air in the line", _air),
)

# Flow of a section's outlets over that of new ones.
OUTLETS = ((1.0, "as new"), (1.2, "worn, +20 %"), (0.5, "half blocked"), (0.0, "blocked"))
