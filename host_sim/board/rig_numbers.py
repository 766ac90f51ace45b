"""The numbers that the bench rig's plant takes, from a simulated machine: plain JSON.

`firmware/bench_rig/plant.py` reads them; SI units, gauge pressure, as in `host_sim/plant`.
"""

from __future__ import annotations

import math
from typing import Any

from host_sim.common.errors import InputError
from host_sim.plant.hose import Hose
from host_sim.plant.machine import main_hose
from host_sim.plant.pump_spec import (
    CentrifugalPumpSpec,
    ElectricPumpSpec,
    HydraulicPumpSpec,
    PdPumpSpec,
)
from host_sim.plant.regulated_pump import valve_conductance
from host_sim.plant.sections import conductance
from host_sim.plant.spec import BYPASS_VALVE, INLINE_VALVE, MachineSpec
from host_sim.plant.steady import flow_range, inverse_actuation, steady_state
from host_sim.plant.units import BAR_PA

Numbers = dict[str, Any]

LOOKED_AT_SHARE = 0.5  # of the highest flow: there the friction of the hoses is exact
MOTOR = ("resistance_ohm", "emf_v_s", "displacement_m3_rad", "leak_m3_s_pa", "friction_nm",
         "breakaway_nm", "inertia_kg_m2")
SPOOL = ("nominal_v", "coil_ohm", "dead_share", "full_share", "play_share", "lag_s", "exponent",
         "displacement_m3_rad", "leak_m3_s_pa", "top_speed_rad_s")
VALVE = ("travel_s", "play_share", "start_s", "overrun_s", "start_share")


def rig_numbers(spec: MachineSpec) -> Numbers:
    """Everything that the rig has to know of a machine.

    Raises InputError where the machine has what the rig does not play.
    """
    _refuse(spec)
    manifold, meter, supply = spec.manifold, spec.meter, spec.supply
    flow_m3_s = LOOKED_AT_SHARE * flow_range(spec, (1 << spec.sections.count) - 1)[1]
    relieved = manifold.relief_pa if spec.actuator != INLINE_VALVE else 0.0
    return {
        "pump": _pump(spec),
        "supply": {"volts": supply.loaded_v(), "ohm": supply.resistance_ohm},
        "manifold": {
            "compliance_m3_pa": manifold.compliance_m3_pa,
            "after_meter_share": manifold.after_meter_share,
            "check_pa": spec.sections.check_pa,
            "relief_pa": relieved,
            "relief_m3_s_pa": manifold.relief_slope_m3_s_pa,
            "main_square": main_hose(spec).resistance(_main_m3_s(spec, flow_m3_s)),
        },
        "sections": _sections(spec, flow_m3_s),
        "meter": {
            "pulses_per_m3": meter.pulses_per_m3,
            "rate_per_m3": 1.0 / (meter.lag_s * meter.full_scale_m3_s),
            "coast_per_s": 1.0 / meter.coast_s,
            "floor_m3_s": meter.floor_share * meter.full_scale_m3_s,
        },
        "ground": {
            "pulses_per_m": spec.ground.pulses_per_m * (1.0 + spec.ground.slip_share),
            "blank_m_s": spec.ground.blank_m_s / (1.0 + spec.ground.slip_share),
        },
    }


def _refuse(spec: MachineSpec) -> None:
    manifold, pump = spec.manifold, spec.pump
    if manifold.air_m3 > 0.0 or manifold.accumulator_m3 > 0.0:
        raise InputError("twin.manifold: the bench rig plays no air and no accumulator")
    if getattr(pump, "ripple_share", 0.0) > 0.0 or getattr(pump, "cut_out_pa", 0.0) > 0.0:
        raise InputError("twin.pump: the bench rig plays neither ripple nor a pressure switch")
    if spec.gnss.hz > 0.0:
        raise InputError("fitted.speed_source: the bench rig gives speed pulses, no receiver's "
                         "sentences")
    if spec.sections.count > 8:
        raise InputError("fitted.sections: the bench rig has one register of 8 sections")


def _main_m3_s(spec: MachineSpec, flow_m3_s: float) -> float:
    """What goes through the main hose when the bar takes this flow: with a bypass, much more."""
    pump = spec.pump
    if spec.actuator != BYPASS_VALVE:
        return flow_m3_s
    mask = (1 << spec.sections.count) - 1
    rest = steady_state(spec, inverse_actuation(spec, flow_m3_s, mask), mask)
    if isinstance(pump, CentrifugalPumpSpec):
        return math.sqrt(max(pump.shutoff_pa - rest.pump_pressure_pa, 0.0) / pump.square_pa_s2_m6)
    assert isinstance(pump, PdPumpSpec)
    return pump.flow_m3_s - pump.leak_m3_s_pa * rest.pump_pressure_pa


def _sections(spec: MachineSpec, flow_m3_s: float) -> Numbers:
    sections, liquid = spec.sections, spec.liquid
    one = conductance(sections.orifice_flow_m3_s, sections.orifice_pressure_pa, liquid)
    orifices = sum(sections.orifice_count)
    squares = []
    for count, wear, length_m in zip(sections.orifice_count, sections.each(sections.wear),
                                     sections.each(sections.hose_m), strict=True):
        hose = Hose(length_m, sections.hose_bore_m, sections.roughness_m, sections.hose_fittings,
                    liquid)
        squares.append(hose.resistance(flow_m3_s * count / orifices)
                       + 1.0 / (one * count * wear) ** 2)
    return {
        "squares": squares,
        "valve_k": conductance(sections.valve_flow_m3_s, BAR_PA, liquid),
        "open_s": sections.open_s,
        "close_s": sections.close_s,
    }


def _pump(spec: MachineSpec) -> Numbers:
    pump = spec.pump
    if isinstance(pump, ElectricPumpSpec):
        return {"model": "motor"} | {name: getattr(pump, name) for name in MOTOR}
    if isinstance(pump, HydraulicPumpSpec):
        return {"model": "spool"} | {name: getattr(pump, name) for name in SPOOL}
    valve, in_line = spec.valve_table, spec.actuator == INLINE_VALVE
    linear_valve = valve.characteristic == "linear"
    found: Numbers = {
        "model": "shaft",
        "in_line": in_line,
        "relief": None,
        "valve": {name: getattr(valve, name) for name in VALVE} | {
            "rangeability": 0.0 if linear_valve else valve.rangeability,
            "full_k": valve_conductance(spec, 1.0),
        },
    }
    if isinstance(pump, CentrifugalPumpSpec):
        return found | {"head_pa": pump.shutoff_pa, "linear": 0.0, "square": pump.square_pa_s2_m6}
    return found | _displacement(pump, spec, in_line)


def _displacement(pump: PdPumpSpec, spec: MachineSpec, in_line: bool) -> Numbers:
    """Q = Q0 - kl P as P = Q0 / kl - Q / kl; and the same while a relief valve blows."""
    if pump.leak_m3_s_pa <= 0.0:
        raise InputError("twin.pump: the bench rig's pump must have some slip (leak)")
    found: Numbers = {"head_pa": pump.flow_m3_s / pump.leak_m3_s_pa,
                      "linear": 1.0 / pump.leak_m3_s_pa, "square": 0.0}
    if in_line:
        manifold = spec.manifold
        together = manifold.relief_slope_m3_s_pa + pump.leak_m3_s_pa
        head = (pump.flow_m3_s + manifold.relief_slope_m3_s_pa * manifold.relief_pa) / together
        found["relief"] = [head, 1.0 / together]
    return found
