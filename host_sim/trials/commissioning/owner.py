"""What the owner of a machine enters before anything is learned: from tape, watch and data sheet.

Each figure that a person measures errs a little; `Slips` says by how much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import Any

from host_sim.plant.pump_spec import ValveSpec
from host_sim.plant.spec import BYPASS_VALVE, INLINE_VALVE, PWM_PUMP, MachineSpec
from rate_control import units as core
from rate_control.settings import default_value, row

SPACING_M = 0.5  # between two orifices of every machine
ACTUATORS = {
    PWM_PUMP: core.PWM_PUMP, INLINE_VALVE: core.INLINE_VALVE, BYPASS_VALVE: core.BYPASS_VALVE,
}
FLOOR_OVER_DROOP = 2.5  # a rotor that stalls at Q reads 84 % of the flow at 2.5 Q
PULSE_STEP_MS = 5
BENCH_S = 900
UL_M3 = 1e9


@dataclass(frozen=True)
class Slips:
    """By how much measured figures err, as factors; 1 is exact."""

    meter: float = 1.0
    speed: float = 1.0
    droop: float = 1.0
    travel: float = 1.0


EXACT = Slips()


def careful_slips(rng: Random) -> Slips:
    """The slips of a careful person, within what the calibration procedures ask for.

    Half a percent for both catches and courses; a low-flow catch to a twentieth; a stopwatch
    to 3 %. Common practice, no source.
    """
    def within(share: float) -> float:
        return rng.uniform(1.0 - share, 1.0 + share)

    return Slips(within(0.005), within(0.005), within(0.05), within(0.03))


def owner_settings(spec: MachineSpec, slips: Slips = EXACT) -> dict[str, Any]:
    """Settings by name, all that a person can know before the first procedure.

    The ground-speed course counts the slip of the sensor in, so it is no error here.
    """
    droop_ul_s = spec.meter.floor_share * spec.meter.full_scale_m3_s * UL_M3 * slips.droop
    values = {
        "section_count": spec.sections.count,
        "section_width_mm": section_widths_mm(spec),
        "liquid_density_g_l": round(spec.liquid.density_kg_m3),
        "speed_pulses_km": round(
            1e3 * spec.ground.pulses_per_m * (1.0 + spec.ground.slip_share) * slips.speed),
        "meter_pulses_hl": round(0.1 * spec.meter.pulses_per_m3 * slips.meter),
        "meter_droop_ul_s": round(droop_ul_s),
        "meter_floor_ul_s": round(FLOOR_OVER_DROOP * droop_ul_s),
        "actuator": ACTUATORS[spec.actuator],
        "bench_timeout_s": BENCH_S,  # a machine with much storage takes its time
    }
    if spec.valve is not None:
        travel_ms = 1e3 * spec.valve.travel_s * (1.0 + spec.valve.play_share) * slips.travel
        values["valve_travel_ms"] = round(travel_ms)
        values["valve_min_pulse_ms"] = shortest_pulse_ms(spec.valve)
        values["hold_lead_ms"] = [round(1e3 * taken_s * slips.travel) for taken_s in
                                  (spec.sections.open_s, spec.sections.close_s)]
        # a valve takes its time to the first flow; that is no missing flow
        values["flow_missing_ms"] = min(default_value(row("flow_missing_ms")) + round(travel_ms),
                                        30_000)
    return values


def shortest_pulse_ms(valve: ValveSpec) -> int:
    """The first of a series of pulses, 10 ms apart, that is seen to move the valve."""
    return (math.floor(1e3 * valve.start_s / PULSE_STEP_MS) + 1) * PULSE_STEP_MS


def section_widths_mm(spec: MachineSpec) -> list[int]:
    """The working width of each section, and any permitted one for those not fitted."""
    spare = default_value(row("section_width_mm"))
    widths = [round(1e3 * SPACING_M * count) for count in spec.sections.orifice_count]
    return widths + spare[len(widths):]
