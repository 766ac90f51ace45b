"""Machines that the sizing tests share."""

from __future__ import annotations

from dataclasses import replace

from host_sim.common import units
from host_sim.sizing.machine import Ask, Meter, Pump, SizedMachine, Valve, iso_outlet


def si(quantity: str, text: str) -> float:
    return units.parse(quantity, text, False)


BAR = 1e5
L_MIN = 1e-3 / 60

# Twenty outlets of size 03, half a metre apart, 1 to 4 bar; nothing else limits.
BARE = SizedMachine(iso_outlet("03", (1 * BAR, 4 * BAR)), 0.5, (6, 8, 6))

FULL = replace(
    BARE,
    check_pa=0.3 * BAR,
    pump=Pump.from_points("as given", 40 * L_MIN, 28 * L_MIN, 4 * BAR),
    relief_pa=6 * BAR,
    regulating_valve=Valve(60 * L_MIN, 0.5 * BAR),
    section_valve=Valve(20 * L_MIN, 0.3 * BAR),
    meter=Meter(450e3, (3 * L_MIN, 30 * L_MIN)),
)


def ask(speed: str, *rates: str) -> Ask:
    """`ask("6 to 12 km/h", "100 L/ha")`; both ends carry a unit."""
    low, high = (si("speed_mm_s", end) for end in speed.split(" to "))
    return Ask([si("rate_ml_ha", rate) for rate in rates], (low, high))
