"""What can disturb a machine, by name: the one table of it, and the three fields.

A row says how a scenario asks for it, what it means, in which unit, and where its model and its
constants come from; `plant.faults.Faults` holds how much of it acts now, `plant.field` and the
parts of the plant let it act. docs/reference/disturbances.md is made from this table.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from host_sim.plant.faults import SLOW_TIMES, PlantFaults
from host_sim.plant.field import (
    BURST_S,
    BURST_SHARES,
    CAVITATION_SHARE,
    RADAR_S,
    ROUGH_S,
    SAG_OFF_S,
    SAG_ON_S,
    SLIP_S,
    SLOW_BAND_HZ,
    SUPPLY_S,
    WHEEL_TURN_M,
)
from host_sim.plant.machine import VALVE_DROP_V
from host_sim.plant.pulse_input import BOUNCE_US
from host_sim.plant.units import L_MIN_M3_S, ML_M3

CHOSEN = "chosen"
PHYSICS = "physics"
FLAG = ""  # the quantity of what is there or is not


@dataclass(frozen=True)
class Disturbance:
    """One row. `name` is the attribute of Faults, `key` that of a scenario's event.

    `quantity` is that of a text with a unit (common/units.py), None for a plain number, FLAG for
    true or false. `numbers` are further keys, each with its unit in SI. `words` say that it came
    and went, or take the amount in `shown` of its unit.
    """

    group: str
    name: str
    key: str
    quantity: str | None
    meaning: str
    source: str
    words: tuple[str, ...]
    shown: float = 1.0  # of the unit in the words, how many are one in SI
    numbers: dict[str, float] = field(default_factory=dict)


def _flag(group: str, name: str, meaning: str, came: str, went: str,
          source: str = "") -> Disturbance:
    return Disturbance(group, name, name, FLAG, meaning, source, (came, went))


def _share(group: str, name: str, key: str, meaning: str, words: str,
           source: str) -> Disturbance:
    return Disturbance(group, name, key, "share_ppm", meaning, source, (words,), 100.0,
                       {f"{key}_pct": 0.01})


def _volts(group: str, key: str, meaning: str, words: str, source: str) -> Disturbance:
    return Disturbance(group, f"{key}_v", key, "supply_mv", meaning, source, (words,), 1.0,
                       {f"{key}_v": 1.0})


def _number(group: str, name: str, meaning: str, words: str, source: str) -> Disturbance:
    return Disturbance(group, name, name, None, meaning, source, (words,))


SPEED, PULSES, SUPPLY = "Ground and speed", "Signals on their way to the board", "Supply"
LIQUID, VALVES = "Liquid and its way", "Valves and outputs"

TABLE = (
    _share(SPEED, "rough_share", "rough_ground",
           "standard deviation of the true speed about what is asked for, first-order "
           f"Gauss-Markov with a correlation time of {ROUGH_S:g} s. On a recorded trace, which "
           f"has the slow part already, only what lies above {SLOW_BAND_HZ:g} Hz",
           "the ground made the speed swing by {:g} %",
           "bands of mower and forest robots, [1] [2]"),
    _share(SPEED, "slip_share", "slip",
           "the driven wheel of the speed sensor slips: this much more pulses than ground",
           "the wheel slipped by {:g} %", "working tractor: mean 7.9 %, [3]"),
    _share(SPEED, "slip_wander_share", "slip_wander",
           "standard deviation of the slip about its mean, which a calibration on that ground "
           f"has found; correlation time {SLIP_S:g} s",
           "the slip of the wheel wandered by {:g} %",
           "working tractor: 1.5 % at 1 s, [3]; correlation time chosen"),
    Disturbance(SPEED, "slip_bursts_min", "slip_bursts_per_min", None,
                f"bursts of {100 * BURST_SHARES[0]:g} to {100 * BURST_SHARES[1]:g} % more slip, "
                f"{BURST_S[0]:g} to {BURST_S[1]:g} s long, so many a minute",
                CHOSEN, ("the wheel slipped in bursts, {:g} a minute",)),
    _share(SPEED, "eccentric_share", "eccentric_wheel",
           "the wheel of the speed sensor is out of centre: its radius swings by this much either "
           f"way, once in {WHEEL_TURN_M:g} m", "the wheel was out of centre by {:g} %", CHOSEN),
    Disturbance(SPEED, "radar_m_s", "radar_noise", "speed_mm_s",
                "standard deviation of what the speed sensor senses, correlation time "
                f"{RADAR_S:g} s",
                "0.5 to 1.5 % on a flat road, [4]; correlation time chosen",
                ("the radar's noise was {:g} m/s",), 1.0, {"radar_noise_m_s": 1.0}),
    Disturbance(SPEED, "sway_m_s", "antenna_sway", "speed_mm_s",
                "standard deviation that the sway of the antenna adds to each report of a GNSS "
                "receiver, independent of the ground speed",
                "wheel and antenna do not agree above 1 Hz, [1] [2]; size chosen",
                ("the antenna swayed by {:g} m/s",), 1.0, {"antenna_sway_m_s": 1.0}),
    _flag(SPEED, "speed_lost", "no pulses from the ground-speed sensor",
          "the speed sensor fell silent", "the speed sensor came back"),
    _flag(SPEED, "gnss_lost", "the GNSS receiver has no fix",
          "the GNSS receiver lost its fix", "the GNSS receiver found its fix"),
    *(row for sensor, words in (("speed", "speed sensor"), ("meter", "flow meter")) for row in (
        _share(PULSES, f"{sensor}_bounce_share", f"{sensor}_bounce",
               f"so many of the {words}'s pulses come twice, "
               f"{BOUNCE_US[0] / 1e3:g} to {BOUNCE_US[1] / 1e3:g} ms apart",
               f"{{:g}} % of the {words}'s pulses came twice", CHOSEN),
        _share(PULSES, f"{sensor}_missed_share", f"{sensor}_missed",
               f"so many of the {words}'s pulses do not come",
               f"{{:g}} % of the {words}'s pulses were lost", CHOSEN),
        _number(PULSES, f"{sensor}_noise_hz",
                f"interference: so many pulses a second that the {words} did not make",
                f"{{:g}} pulses a second got into the {words}'s line", CHOSEN))),
    _number(PULSES, "meter_factor", "pulses of the flow meter over those that the liquid makes",
            "the flow meter read {:g} times the flow", CHOSEN),
    _flag(PULSES, "meter_stalled", "the rotor of the flow meter is stuck",
          "the flow meter stuck", "the flow meter came free"),
    _flag(PULSES, "pulses_swapped", "the wires of speed sensor and flow meter are swapped",
          "the wires of speed sensor and flow meter were swapped",
          "the wires of speed sensor and flow meter were put right"),
    _flag(PULSES, "pressure_cut", "the wire of the pressure sensor is cut; only where the machine "
          "file has one", "the wire of the pressure sensor was cut",
          "the wire of the pressure sensor was mended"),
    _flag(SUPPLY, "cranking", "the starter pulls the supply down to `supply.crank_v`",
          "the starter began to turn", "the starter stopped",
          "7.75 to 9.85 V at the lowest, [5]"),
    _volts(SUPPLY, "supply_drop", "the battery has this much less",
           "the supply was {:g} V down", CHOSEN),
    _volts(SUPPLY, "supply_sag", "another consumer pulls the supply down by this much, for "
           f"{SAG_ON_S:g} s in the mean and {SAG_OFF_S:g} s apart",
           "another consumer pulled the supply down by {:g} V now and then", CHOSEN),
    _volts(SUPPLY, "supply_noise", "standard deviation of the supply at no load, correlation time "
           f"{SUPPLY_S:g} s", "the supply's noise was {:g} V",
           "13.73 to 13.95 V in 98 % of the time at work, [3]; correlation time chosen"),
    _flag(SUPPLY, "valve_follows_supply", "the motor of a regulating valve turns as fast as the "
          f"supply less {VALVE_DROP_V:g} V allows, and starts as much later",
          "the valve's motor followed the supply", "the valve's motor ran even",
          "a DC motor's speed; the drop is chosen"),
    _flag(LIQUID, "pump_dead", "blown fuse, shaft not engaged",
          "the pump lost its drive", "the pump got its drive back"),
    _flag(LIQUID, "pump_ripple", "the pump's flow swings as ideal chambers make it",
          "the pump's flow swung with its chambers", "the pump's flow ran even",
          "half-sine chambers: 14 % for three; 25 to 90 % for two and one, a weak source"),
    _flag(LIQUID, "tank_empty", "the pump turns and delivers nothing",
          "the tank ran empty", "the tank was filled"),
    Disturbance(LIQUID, "suction_m3_s", "suction_limit", "flow_ul_s",
                "beyond this flow the pump cavitates: it gives no more, and that raggedly, down "
                f"by {100 * CAVITATION_SHARE:g} % in the root mean square; 0 is no limit", CHOSEN,
                ("the suction gave at most {:g} L/min",), 1.0 / L_MIN_M3_S,
                {"suction_limit_l_min": L_MIN_M3_S}),
    Disturbance(LIQUID, "filter_pa", "filter_clog", "pressure_pa",
                "pressure lost in the filter before the flow meter at 10 L/min; it grows as the "
                "square of the flow", CHOSEN, ("the filter took {:g} bar at 10 L/min",), 1e-5,
                {"filter_clog_bar": 1e5}),
    Disturbance(LIQUID, "air_m3", "air", "volume_ml",
                "this much more air is trapped in the line, at atmospheric pressure", CHOSEN,
                ("{:g} mL of air was in the line",), 1.0 / ML_M3, {"air_ml": ML_M3}),
    _number(LIQUID, "viscosity_factor", "viscosity in the hoses over that of the liquid as it was "
            "filled in: it falls as the liquid warms. Orifices, meter and pump stay as they are",
            "the liquid's viscosity was {:g} times that at the start",
            "water from 10 to 30 C: 0.61 (1.307 to 0.798 mPa s, CRC Handbook, from memory)"),
    Disturbance(LIQUID, "leak_m3_s", "leak", "flow_ul_s",
                "lost between flow meter and section valves at 1 bar above the check valves",
                CHOSEN, ("a hose leaked {:g} L/min at 1 bar",), 1.0 / L_MIN_M3_S,
                {"leak_l_min": L_MIN_M3_S}),
    Disturbance(LIQUID, "leak_down_s", "leak_down", "time_ms",
                "time constant with which the pressure of a shut line, its hoses alone, leaks back "
                "past the pump, as over a headland; 0: it holds", CHOSEN,
                ("the line leaked down with {:g} s",), 1.0, {"leak_down_s": 1.0}),
    Disturbance(VALVES, "regulator_stuck", "regulator_stuck", "share_ppm",
                "the regulating valve stands at this opening, whatever its motor does, until the "
                "end of the drive", CHOSEN, ("the regulating valve stuck at {:g} %",), 100.0,
                {"regulator_stuck_pct": 0.01}),
    _flag(VALVES, "sections_swapped", "the wires of the first two section valves are swapped",
          "the wires of sections 1 and 2 were swapped",
          "the wires of sections 1 and 2 were put right"),
    _flag(VALVES, "driver_shorted", "the pump has its full duty, whatever the board does",
          "the driver of the pump was shorted", "the driver of the pump was changed"),
    _flag(VALVES, "outputs_welded", "what is on stays on, whatever the board does",
          "the output stage welded", "the output stage came free"),
)

# Word of an event's `valve`: the mask of Faults that it sets, and what it says of a section.
VALVE_WORDS = {
    "stuck open": ("sections_open", "the valve of section {} stuck open"),
    "stuck shut": ("sections_shut", "the valve of section {} stuck shut"),
    "slow": ("sections_slow", f"the valve of section {{}} took {SLOW_TIMES:g} times as long"),
    "free": ("", "the valve of section {} worked again"),
}

# The three fields. Sizes are ours, after the measured ones: see the page.
CALM, ORDINARY, ROUGH = "calm", "ordinary", "rough"
FIELDS: dict[str, dict[str, float]] = {
    CALM: {},
    ORDINARY: {
        "rough_share": 0.033,
        "slip_wander_share": 0.01,
        "eccentric_share": 0.015,
        "sway_m_s": 0.02,
        "supply_sag_v": 1.5,
        "supply_noise_v": 0.05,
        "valve_follows_supply": True,
        "pump_ripple": True,
        "air_m3": 20 * ML_M3,
    },
    ROUGH: {
        "rough_share": 0.092,
        "slip_wander_share": 0.015,
        "eccentric_share": 0.03,
        "sway_m_s": 0.06,
        "supply_sag_v": 1.5,
        "supply_noise_v": 0.15,
        "valve_follows_supply": True,
        "pump_ripple": True,
        "air_m3": 100 * ML_M3,
    },
}
# Where the sizes above come from.
FIELD_SOURCES = {
    "rough_share": "2.5, 1.1 and 0.4 % in 0.05 to 0.5, 0.5 to 3 and 3 to 10 Hz, against 5.7, 1.5 "
                   "and 1.2 % of a mower at 3.6 m/s [1] and 0.8 to 2.5 % of a tractor at 1 Hz [3]; "
                   "rough 7, 3.0 and 1.1 %, against 12.3 and 3.3 % of the mower at 1.1 m/s [1] and "
                   "13.5 and 1.5 to 3.7 % of a robot in the forest [2]; chosen between them",
    "slip_wander_share": "1.5 % of a working tractor at 1 s [3]; ordinary chosen",
    "eccentric_share": CHOSEN,
    "sway_m_s": "0.02 m/s between corrected positions at 10 Hz [1] [2]; rough chosen",
    "supply_sag_v": CHOSEN,
    "supply_noise_v": "0.22 V between the 1 and 99 % points at work are 47 mV [3]; rough chosen",
    "valve_follows_supply": PHYSICS,
    "pump_ripple": PHYSICS,
    "air_m3": CHOSEN,
}
# With a radar in the place of the wheel.
RADAR: dict[str, dict[str, float]] = {
    ORDINARY: {"eccentric_share": 0.0, "radar_m_s": 0.05},
    ROUGH: {"eccentric_share": 0.0, "radar_m_s": 0.10},
}


def set_field(faults: PlantFaults, name: str) -> None:
    """Let a field act on a machine, and no other; what else is broken stays so."""
    for amounts in FIELDS.values():
        for disturbance in amounts:
            setattr(faults, disturbance, getattr(CLEAN, disturbance))
    for disturbance, amount in FIELDS[name].items():
        setattr(faults, disturbance, amount)


CLEAN = PlantFaults()
