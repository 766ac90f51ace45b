"""The pump curve that a pump's data sheet and the outlets promise, before any bench has seen it.

An electric pump with friction and slip gives Q = G u - D - k P at the share u of full drive
(plant/static_pump.py, electric_line); sizing knows G - D, its open flow, and k. D is the flow
that the drive without load costs: of a class of pumps known, else the share that it has in class M.
Hoses and the battery's own resistance are left out, so the curve errs towards too little drive.

No data sheet says how late the flow follows. Until the step test has measured it the loop works
with the delay and the lag that the settings begin with; the look-ahead is that of the same two.
"""

from __future__ import annotations

from typing import Any

from host_sim.sizing.machine import NOMINAL_V, SizedMachine
from rate_control.procedures.step_test import look_ahead_ms
from rate_control.settings import default_value, row
from rate_control.units import CURVE_POINTS, DUTY_FULL, FLOW_MAX_UL_S

HOW = "predicted by size, not measured"
UL_M3 = 1e9


def predicted_settings(machine: SizedMachine) -> dict[str, Any]:
    """The settings of curve and look-ahead by name; empty where no curve can be predicted.

    That is so without a pump, for a regulating valve, whose travel no data sheet relates to a
    flow, and where the pump gives less than the meter reads.
    """
    pump, bar = machine.pump, machine.whole
    if pump is None or machine.regulating_valve or pump.flow_at(machine.check_pa) <= 0.0:
        return {}
    outlet_m3_s = machine.pump_limit_m3_s(bar)
    if machine.relief_pa is not None:
        outlet_m3_s = min(outlet_m3_s, machine.relief_limit_m3_s(bar))
    top = round(outlet_m3_s * bar.outlets * UL_M3)
    if not max(CURVE_POINTS, _floor_ul_s(machine)) < top <= FLOW_MAX_UL_S:
        return {}
    flows = [top * point // (CURVE_POINTS - 1) for point in range(CURVE_POINTS)]
    duties = [_duty_u16(machine, flow / UL_M3) for flow in flows]
    if any(high <= low for low, high in zip(duties, duties[1:], strict=False)):
        return {}
    pressure_pa = machine.resistance(bar) * outlet_m3_s**2
    pressure = DUTY_FULL * pump.slope_m3_s_pa * pressure_pa / pump.driven_m3_s
    return {
        "curve_flow_ul_s": flows,
        "curve_duty_u16": duties,
        "curve_pressure_u16": round(pressure),
        "curve_density_g_l": round(machine.density_kg_m3),
        "curve_supply_mv": round(NOMINAL_V * 1e3),
        "look_ahead_ms": look_ahead_ms(*(default_value(row(name))
                                         for name in ("loop_delay_ms", "loop_lag_ms"))),
    }


def _floor_ul_s(machine: SizedMachine) -> float:
    """The meter's floor: the higher of its range's and of the default, which a new file has."""
    unset: float = default_value(row("meter_floor_ul_s"))
    span = machine.meter.range_m3_s if machine.meter else None
    return max(span[0] * UL_M3, unset) if span else unset


def _duty_u16(machine: SizedMachine, flow_m3_s: float) -> int:
    """The drive that gives a flow through the whole bar."""
    pump, bar = machine.pump, machine.whole
    assert pump is not None
    slip = pump.slope_m3_s_pa * machine.pump_pressure_pa(flow_m3_s / bar.outlets, bar)
    share = (flow_m3_s + slip + pump.idle_m3_s) / pump.driven_m3_s
    return min(round(DUTY_FULL * share), DUTY_FULL)
