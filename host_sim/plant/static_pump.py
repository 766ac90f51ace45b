"""Each pump's delivery at rest, and its inverse: the setting that gives a delivery.

A `setting` is the duty of a PWM pump or the position of a regulating valve, 0..1.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from host_sim.plant.hydraulic_pump import spool_travel
from host_sim.plant.pump_spec import (
    CentrifugalPumpSpec,
    ElectricPumpSpec,
    HydraulicPumpSpec,
    PdPumpSpec,
)
from host_sim.plant.regulated_pump import delivery_line, valve_conductance
from host_sim.plant.regulating_valve import position
from host_sim.plant.shaft_pump import through
from host_sim.plant.spec import BYPASS_VALVE, INLINE_VALVE, MachineSpec

Source = Callable[[float, float], float]  # (main hose dP/Q^2, manifold pressure) -> m3/s


def source(
    spec: MachineSpec, setting: float, supply_v: float | None, shaft: float, branch: int
) -> Source:
    """Delivery to the manifold as a function of the main hose's resistance and the pressure."""
    volts = spec.supply.loaded_v(supply_v)
    if isinstance(spec.pump, ElectricPumpSpec):
        flow, leak = electric_line(spec.pump, setting, volts, spec.supply.resistance_ohm)
    elif isinstance(spec.pump, HydraulicPumpSpec):
        flow, leak = hydraulic_line(spec, setting, volts, branch), spec.pump.leak_m3_s_pa
    else:
        valve_k = valve_conductance(spec, setting)

        def regulated(square: float, pressure_pa: float) -> float:
            a, b = delivery_line(spec, valve_k, square, shaft, pressure_pa)
            return a - b * pressure_pa

        return regulated

    def driven(square: float, pressure_pa: float) -> float:
        if leak <= 0.0:
            return max(flow, 0.0)
        a, b = through(flow / leak, 1.0 / leak, square, pressure_pa)
        return a - b * pressure_pa

    return driven


def electric_line(
    pump: ElectricPumpSpec, duty: float, volts: float, supply_ohm: float
) -> tuple[float, float]:
    """Q = s (u V - R I0) - (s^2 R + kl) P of a running pump, R with the battery's u^2 Rb."""
    s = pump.displacement_m3_rad / pump.emf_v_s
    ohm = pump.resistance_ohm + supply_ohm * duty * duty
    flow = s * (duty * volts - ohm * pump.friction_nm / pump.emf_v_s)
    return flow, s * s * ohm + pump.leak_m3_s_pa


def hydraulic_line(spec: MachineSpec, duty: float, volts: float, branch: int) -> float:
    """Flow at no pressure; `branch` 1 rising, -1 falling, 0 between."""
    pump = spec.pump
    assert isinstance(pump, HydraulicPumpSpec)
    coil_v = volts * pump.coil_ohm / (pump.coil_ohm + spec.supply.resistance_ohm * duty)
    held = duty * coil_v / pump.nominal_v - 0.5 * branch * pump.play_share
    speed = pump.top_speed_rad_s * spool_travel(pump, held) ** pump.exponent
    return pump.displacement_m3_rad * speed


def least_setting(spec: MachineSpec) -> float:
    """The setting of least flow."""
    return 1.0 if spec.actuator == BYPASS_VALVE else 0.0


def setting_for(
    spec: MachineSpec,
    flow_m3_s: float,
    pressure_pa: float,
    main_resistance: float,
    supply_v: float | None,
    shaft: float,
    branch: int,
) -> float:
    """The setting that delivers this flow into this manifold pressure; not limited to 0..1."""
    outlet_pa = pressure_pa + main_resistance * flow_m3_s * flow_m3_s
    volts = spec.supply.loaded_v(supply_v)
    if isinstance(spec.pump, ElectricPumpSpec):
        return _electric_duty(spec.pump, flow_m3_s, outlet_pa, volts, spec.supply.resistance_ohm)
    if isinstance(spec.pump, HydraulicPumpSpec):
        return _hydraulic_duty(spec, flow_m3_s, outlet_pa, volts, branch)
    if spec.actuator == INLINE_VALVE:
        drop_pa = _upstream_pa(spec, flow_m3_s, shaft) - outlet_pa
        wanted_k = flow_m3_s / math.sqrt(drop_pa) if drop_pa > 0.0 else math.inf
    else:
        a, b = delivery_line(spec, 0.0, main_resistance, shaft, pressure_pa)
        wanted_k = max(a - b * pressure_pa - flow_m3_s, 0.0) / math.sqrt(pressure_pa)
    share = wanted_k / valve_conductance(spec, 1.0)
    return position(spec.valve_table, min(share, 1.0))


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
    spec: MachineSpec, flow_m3_s: float, outlet_pa: float, volts: float, branch: int
) -> float:
    pump = spec.pump
    assert isinstance(pump, HydraulicPumpSpec)
    speed = (flow_m3_s + pump.leak_m3_s_pa * outlet_pa) / pump.displacement_m3_rad
    travel = (speed / pump.top_speed_rad_s) ** (1.0 / pump.exponent)
    held = pump.dead_share + travel * (pump.full_share - pump.dead_share)
    amps = (held + 0.5 * branch * pump.play_share) * pump.nominal_v / pump.coil_ohm
    left_v = volts - amps * spec.supply.resistance_ohm
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
    return spare / leak if leak > 0.0 else -math.inf if spare < 0.0 else manifold.relief_pa
