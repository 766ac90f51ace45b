"""What a person can break on the machine of the panel, and mend again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from host_sim.panel.live_twin import LiveTwin
from host_sim.plant.units import BAR_PA, L_MIN_M3_S, ML_M3
from host_sim.twin.disturbances import CLEAN

WEAK_BATTERY = 0.3  # share of the voltage that is missing
AIR_ML = 50.0
FILTER_BAR = 2.0  # lost at 10 L/min
SUCTION_L_MIN = 4.0
LEAK_DOWN_S = 5.0


@dataclass(frozen=True)
class Trouble:
    """One switchable fault: its word on the link to the page, its words for people.

    `of_pressure`: it is one of the pressure sensor, so only where there is one.
    """

    name: str
    words: str
    set: Callable[[LiveTwin, bool], None]
    of_pressure: bool = False


def _meter(twin: LiveTwin, on: bool) -> None:
    twin.faults.meter_stalled = on


def _speed(twin: LiveTwin, on: bool) -> None:
    twin.faults.speed_lost = on


def _pump(twin: LiveTwin, on: bool) -> None:
    twin.pump_dead = on


def _battery(twin: LiveTwin, on: bool) -> None:
    twin.faults.supply_drop_v = WEAK_BATTERY * twin.supply_v if on else 0.0


def _fault(name: str, amount: float) -> Callable[[LiveTwin, bool], None]:
    """Sets one of the plant's faults to an amount, and back to what it is on a clean machine."""
    return lambda twin, on: setattr(twin.faults, name, amount if on else getattr(CLEAN, name))


TROUBLES = (
    Trouble("meter_stalled", "flow meter stuck", _meter),
    Trouble("speed_lost", "speed signal lost", _speed),
    Trouble("pump_dead", "pump without drive", _pump),
    Trouble("battery_weak", "battery weak", _battery),
    Trouble("air", "air in the line", _fault("air_m3", AIR_ML * ML_M3)),
    Trouble("meter_bounces", "meter pulses twice, 1 in 5", _fault("meter_bounce_share", 0.2)),
    Trouble("meter_loses", "meter pulses lost, 1 in 5", _fault("meter_missed_share", 0.2)),
    Trouble("wheel_slips", "wheel slips in bursts", _fault("slip_bursts_min", 12.0)),
    Trouble("filter_clogged", "filter clogged", _fault("filter_pa", FILTER_BAR * BAR_PA)),
    Trouble("suction_short", "suction too small",
            _fault("suction_m3_s", SUCTION_L_MIN * L_MIN_M3_S)),
    Trouble("leaks_down", "line leaks down", _fault("leak_down_s", LEAK_DOWN_S)),
    Trouble("pressure_cut", "pressure sensor cut", _fault("pressure_cut", True), of_pressure=True),
)

# Flow of a section's outlets over that of new ones.
OUTLETS = ((1.0, "as new"), (1.2, "worn, +20 %"), (0.5, "half blocked"), (0.0, "blocked"))
