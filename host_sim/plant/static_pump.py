"""Each pump's delivery at rest, and its inverse: the setting that gives a delivery.

A `setting` is the duty of a PWM pump or the position of a regulating valve, 0..1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from host_sim.plant.hose import Hose
from host_sim.plant.hydraulic_pump import spool_travel
from host_sim.plant.pump_spec import (
    CentrifugalPumpSpec,
    ElectricPumpSpec,
    HydraulicPumpSpec,
    PdPumpSpec,
)
from host_sim.plant.regulated_pump import supply_line, valve_conductance
from host_sim.plant.regulating_valve import position
from host_sim.plant.shaft_pump import bypassed, flow_at, through
from host_sim.plant.spec import BYPASS_VALVE, INLINE_VALVE, MachineSpec

ROUNDS = 12  # in which friction factors settle: each gains a digit or two

# (main hose dP/Q^2, manifold pressure) -> through the main hose, to the manifold; m3/s
Source = Callable[[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Conditions:
    """What is around the machine while it is at rest."""

    supply_v: float | None = None  # of the battery at no load; None: as in the spec
    shaft_share: float = 1.0  # speed of a driven pump's shaft over nominal
    branch: int = 0  # how a hydraulic valve was reached: 1 rising, -1 falling, 0 halfway


def source(spec: MachineSpec, setting: float, at: Conditions) -> Source:
    """Delivery as a function of the main hose's resistance and the manifold's pressure."""
    pump, volts = spec.pump, spec.supply.loaded_v(at.supply_v)
    if isinstance(pump, ElectricPumpSpec):
        return _driven(*electric_line(pump, setting, volts, spec.supply.resistance_ohm))
    if isinstance(pump, HydraulicPumpSpec):
        flow = hydraulic_flow(pump, setting, volts, spec.supply.resistance_ohm, at.branch)
        return _driven(flow, pump.leak_m3_s_pa)
    valve_k = valve_conductance(spec, setting)

    def regulated(square: float, pressure_pa: float) -> tuple[float, float]:
        line = supply_line(spec, valve_k, square, at.shaft_share, pressure_pa)
        main = flow_at(line, pressure_pa)
        if spec.actuator == BYPASS_VALVE:
            line = bypassed(line, valve_k, pressure_pa)
        return main, flow_at(line, pressure_pa)

    return regulated


def _driven(flow: float, leak: float) -> Source:
    """A pump that the board drives: `flow - leak P` at its outlet."""

    def deliver(square: float, pressure_pa: float) -> tuple[float, float]:
        if leak <= 0.0:
            return max(flow, 0.0), max(flow, 0.0)
        main = flow_at(through(flow / leak, 1.0 / leak, square, pressure_pa), pressure_pa)
        return main, main

    return deliver


def electric_line(
    pump: ElectricPumpSpec, duty: float, volts: float, supply_ohm: float
) -> tuple[float, float]:
    """Q = s (u V - R I0) - (s^2 R + kl) P of a running pump, R with the battery's u^2 Rb."""
    s = pump.displacement_m3_rad / pump.emf_v_s
    ohm = pump.resistance_ohm + supply_ohm * duty * duty
    flow = s * (duty * volts - ohm * pump.friction_nm / pump.emf_v_s)
    return flow, s * s * ohm + pump.leak_m3_s_pa


def hydraulic_flow(
    pump: HydraulicPumpSpec, duty: float, volts: float, supply_ohm: float, branch: int
) -> float:
    """Flow against no pressure."""
    coil_v = volts * pump.coil_ohm / (pump.coil_ohm + supply_ohm * duty)
    held = duty * coil_v / pump.nominal_v - 0.5 * branch * pump.play_share
    speed = pump.top_speed_rad_s * spool_travel(pump, held) ** pump.exponent
    return pump.displacement_m3_rad * speed


def least_setting(spec: MachineSpec) -> float:
    """The setting of least flow."""
    return 1.0 if spec.actuator == BYPASS_VALVE else 0.0


def setting_for(
    spec: MachineSpec, flow_m3_s: float, pressure_pa: float, main: Hose, at: Conditions
) -> float:
    """The setting that delivers this flow into this manifold pressure; not limited to 0..1."""
    pump, supply = spec.pump, spec.supply
    outlet_pa = pressure_pa + main.resistance(flow_m3_s) * flow_m3_s * flow_m3_s
    volts = supply.loaded_v(at.supply_v)
    if isinstance(pump, ElectricPumpSpec):
        return _electric_duty(pump, flow_m3_s, outlet_pa, volts, supply.resistance_ohm)
    if isinstance(pump, HydraulicPumpSpec):
        return _hydraulic_duty(
            pump, flow_m3_s, outlet_pa, volts, supply.resistance_ohm, at.branch
        )
    if spec.actuator == INLINE_VALVE:
        drop_pa = _upstream_pa(spec, flow_m3_s, at.shaft_share) - outlet_pa
        wanted_k = flow_m3_s / math.sqrt(drop_pa) if drop_pa > 0.0 else math.inf
    else:
        spare = _through_main(spec, pressure_pa, main, at.shaft_share) - flow_m3_s
        wanted_k = max(spare, 0.0) / math.sqrt(pressure_pa)
    share = wanted_k / valve_conductance(spec, 1.0)
    return position(spec.valve_table, min(share, 1.0))


def _through_main(spec: MachineSpec, pressure_pa: float, main: Hose, shaft: float) -> float:
    """What pump and main hose give, before a valve in bypass takes its part."""
    flow = 0.0
    for _ in range(ROUNDS):
        square = main.resistance(flow)
        flow = flow_at(supply_line(spec, 0.0, square, shaft, pressure_pa), pressure_pa)
    return flow


def _electric_duty(
    pump: ElectricPumpSpec, flow_m3_s: float, outlet_pa: float, volts: float, supply_ohm: float
) -> float:
    """Root u of Rb i u^2 - V u + (Ke w + R i) = 0, with i and w from flow and pressure."""
    speed = (flow_m3_s + pump.leak_m3_s_pa * outlet_pa) / pump.displacement_m3_rad
    current = (pump.friction_nm + pump.displacement_m3_rad * outlet_pa) / pump.emf_v_s
    needed_v = pump.emf_v_s * speed + pump.resistance_ohm * current
    inside = volts * volts - 4.0 * supply_ohm * current * needed_v
    return 2.0 * needed_v / (volts + math.sqrt(inside)) if inside > 0.0 else 1.0


def _hydraulic_duty(
    pump: HydraulicPumpSpec,
    flow_m3_s: float,
    outlet_pa: float,
    volts: float,
    supply_ohm: float,
    branch: int,
) -> float:
    speed = (flow_m3_s + pump.leak_m3_s_pa * outlet_pa) / pump.displacement_m3_rad
    travel = (speed / pump.top_speed_rad_s) ** (1.0 / pump.exponent)
    held = pump.dead_share + travel * (pump.full_share - pump.dead_share)
    amps = (held + 0.5 * branch * pump.play_share) * pump.nominal_v / pump.coil_ohm
    left_v = volts - amps * supply_ohm
    return amps * pump.coil_ohm / left_v if left_v > 0.0 else 1.0


def _upstream_pa(spec: MachineSpec, flow_m3_s: float, shaft: float) -> float:
    """Pressure before a valve in line, at a flow."""
    pump, manifold = spec.pump, spec.manifold
    if isinstance(pump, CentrifugalPumpSpec):
        return shaft**2 * pump.shutoff_pa - pump.square_pa_s2_m6 * flow_m3_s**2
    assert isinstance(pump, PdPumpSpec)
    spare = shaft * pump.flow_m3_s - flow_m3_s
    slope, leak = manifold.relief_slope_m3_s_pa, pump.leak_m3_s_pa
    blowing = (spare + slope * manifold.relief_pa) / (slope + leak)
    if blowing >= manifold.relief_pa:
        return blowing
    return spare / leak if leak > 0.0 else -math.inf
