"""What the ground is to get where the board has zones: in truth, by the place of the outlets."""

from __future__ import annotations

import struct

import numpy as np

from app.zones import HEAD, Zones, rates_of
from host_sim.common.earth import Origin
from host_sim.runs.record import Column, RunRecord
from host_sim.twin.scenario import Scenario


def uses_zones(scenario: Scenario) -> bool:
    """Whether the board of a drive sets its rates by zones, and by nothing else."""
    settings = scenario.settings
    return bool(scenario.zones and settings.position_use and scenario.machine.gnss.hz > 0
                and not scenario.plan
                and max(rates_of(scenario.zones)) <= settings.highest_rate_ml_ha)


def wanted_by_zones(record: RunRecord, scenario: Scenario) -> Column:
    """The wanted rate of each tick: of the zone where the outlets truly are, once one begins.

    Beside all zones it stays as it is, and one that was set by hand holds until the next begins.
    """
    zones = Zones(None, None, scenario.zones)  # type: ignore[arg-type]  # looks places up, no more
    latitude_e4, longitude_e4 = struct.unpack_from(HEAD, scenario.zones)[6:8]
    plane = Origin(latitude_e4 / 1e4, longitude_e4 / 1e4)
    places = plane.to_metres(*scenario.place.to_degrees(
        record["true_east_m"], record["true_north_m"]))
    east_mm, north_mm = (np.round(place * 1e3).astype(int).tolist() for place in places)
    rates = rates_of(scenario.zones)
    by_hand = record["wanted_ml_ha"]
    wanted = by_hand.copy()
    zone, rate = 0, by_hand[0]
    for tick, place in enumerate(zip(east_mm, north_mm, strict=True)):
        if tick and by_hand[tick] != by_hand[tick - 1]:
            rate = by_hand[tick]
        here = zones.at(*place)
        if here and here != zone:
            zone, rate = here, rates[here - 1]
        wanted[tick] = rate
    return wanted
