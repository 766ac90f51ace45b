"""What can go wrong with a machine while it runs."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class Faults:
    """Set and clear at any time; they act from the next `advance`."""

    meter_stalled: bool = False  # the rotor is stuck
    speed_lost: bool = False  # no pulses from the ground-speed sensor
    slip_share: float = 0.0  # the wheel slips: pulses over those of the ground, minus 1
    gnss_lost: bool = False  # the receiver has no fix
    pump_dead: bool = False  # a blown fuse, a shaft that is not engaged
    cranking: bool = False  # the starter pulls the supply down to supply.crank_v
    supply_drop_v: float = 0.0  # a flat battery: less than supply.open_v
    air_m3: float = 0.0  # more trapped air, at atmospheric pressure
    orifice_factor: list[float] = field(default_factory=list)  # 0 blocked, 1 as built, above worn
