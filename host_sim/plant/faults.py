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
    tank_empty: bool = False  # the pump turns and delivers nothing
    leak_m3_s: float = 0.0  # between meter and section valves, at 1 bar above the check valves
    sections_open: int = 0  # mask of section valves that are stuck open
    sections_shut: int = 0  # mask of those that are stuck shut
    sections_swapped: bool = False  # the wires of the first two section valves
    regulator_stuck: float | None = None  # a regulating valve that stands at this position
    outputs_welded: bool = False  # what was on when it struck stays on, whatever the board does
    meter_factor: float = 1.0  # pulses over those that the liquid makes; 0.5: every second is lost
    meter_noise_hz: float = 0.0  # pulses that no liquid has made
    speed_noise_hz: float = 0.0  # pulses that no ground has made
    pulses_swapped: bool = False  # the wires of speed sensor and flow meter
