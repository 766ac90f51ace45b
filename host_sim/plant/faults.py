"""What goes wrong with a machine while it runs, and what the field does to it."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class PlantFaults:
    """Set and clear at any time; they act from the next `advance`. All off is a clean machine.

    `disturbances.TABLE` has a row for each: its meaning, its unit and where its size comes from.
    """

    # ground and speed
    rough_share: float = 0.0  # true speed over that which is asked for, minus 1: deviation
    speed_lost: bool = False  # no pulses from the ground-speed sensor
    slip_share: float = 0.0  # the wheel slips: pulses over those of the ground, minus 1
    slip_wander_share: float = 0.0  # deviation of the slip about its mean
    slip_bursts_min: float = 0.0  # bursts of slip a minute
    eccentric_share: float = 0.0  # the wheel's radius swings by so much either way
    radar_m_s: float = 0.0  # deviation of the sensed speed
    sway_m_s: float = 0.0  # of the antenna: deviation of a receiver's report
    gnss_lost: bool = False  # the receiver has no fix
    # pulses on their way to the board
    speed_noise_hz: float = 0.0  # pulses that no ground has made
    speed_bounce_share: float = 0.0  # of the pulses: they come twice
    speed_missed_share: float = 0.0  # of the pulses: they do not come
    meter_noise_hz: float = 0.0  # pulses that no liquid has made
    meter_bounce_share: float = 0.0
    meter_missed_share: float = 0.0
    meter_factor: float = 1.0  # pulses over those that the liquid makes; 0.5: every second is lost
    meter_stalled: bool = False  # the rotor is stuck
    pulses_swapped: bool = False  # the wires of speed sensor and flow meter
    pressure_cut: bool = False  # the wire of the pressure sensor
    # supply
    cranking: bool = False  # the starter pulls the supply down to supply.crank_v
    supply_drop_v: float = 0.0  # a flat battery: less than supply.open_v
    supply_sag_v: float = 0.0  # another consumer comes on and goes off again
    supply_noise_v: float = 0.0  # deviation
    valve_follows_supply: bool = False  # a regulating valve's motor, in start and pace
    # liquid and its way
    pump_dead: bool = False  # a blown fuse, a shaft that is not engaged
    pump_ripple: bool = False  # the flow swings as much as its chambers make it
    tank_empty: bool = False  # the pump turns and delivers nothing
    suction_m3_s: float = 0.0  # beyond this flow the pump cavitates; 0: no limit
    filter_pa: float = 0.0  # lost in the filter at FILTER_M3_S
    air_m3: float = 0.0  # more trapped air, at atmospheric pressure
    viscosity_factor: float = 1.0  # over that of the liquid as it was filled in
    leak_m3_s: float = 0.0  # between meter and section valves, at 1 bar above the check valves
    leak_down_s: float = 0.0  # time constant of a shut line's pressure; 0: it holds
    regulator_stuck: float | None = None  # a regulating valve that stands at this position
    # sections and outputs
    orifice_factor: list[float] = field(default_factory=list)  # 0 blocked, 1 as built, above worn
    sections_open: int = 0  # mask of section valves that are stuck open
    sections_shut: int = 0  # mask of those that are stuck shut
    sections_slow: int = 0  # mask of those that take SLOW_TIMES as long
    sections_swapped: bool = False  # the wires of the first two section valves
    driver_shorted: bool = False  # the pump has its full duty, whatever the board does
    outputs_welded: bool = False  # what was on when it struck stays on, whatever the board does


FILTER_M3_S = 10e-3 / 60  # 10 L/min
SLOW_TIMES = 10.0
