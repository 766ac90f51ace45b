"""The simulated machine that a machine file describes.

Three layers, each before the one under it: the tables of [twin]; what [fitted] says of outlets,
valves, pump, meter and speed sensor, with a GNSS receiver where the settings use one; and, for all
that no data sheet says (inertia, lags, hoses), a kind of machine from the catalogue.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from host_sim.common.errors import InputError
from host_sim.machine_file.homes import FITTED, TWIN
from host_sim.machine_file.machine import MachineFile
from host_sim.plant.catalogue import KINDS, machine_spec, machine_spec_from_table
from host_sim.plant.pump_spec import ElectricPumpSpec
from host_sim.plant.spec import MachineSpec
from host_sim.plant.static_pump import electric_line
from host_sim.plant.units import BAR_PA
from host_sim.sizing import texts
from host_sim.sizing.fields import FIELDS
from host_sim.sizing.machine import NOMINAL_V, Pump
from host_sim.trials.commissioning.owner import ACTUATORS
from rate_control.settings import Settings
from rate_control.units import BY_PULSES, PWM_PUMP

WATER_G_L = 1000
ELECTRIC = ("electric_s", "electric_m", "electric_l")
# One part in so many: a value that is the kind's own but for its last digit is left as it is.
SAME = 1e-9
RECEIVER_HZ = 5.0  # reports a second that a receiver is used with at least, as its how-to says


def spec_of(machine: MachineFile) -> MachineSpec:
    """The simulated machine. Raises InputError naming file, line and key."""
    own = dict(machine.twin)
    kind = own.pop("kind", None)
    fields = _fields(machine)
    try:
        if kind is None:
            kind = _kind(machine, fields.get("pump"))
        spec = _with_fitted(machine_spec_from_table({"kind": kind}), machine, fields, own)
        spec = spec.override(**own)
    except ValueError as error:
        place, _, message = str(error).partition(": ")
        raise InputError(machine.source.problem((TWIN, *place.split(".")), message)) from None
    if ACTUATORS[spec.actuator] != machine.settings.actuator:
        raise InputError(machine.source.problem(
            (TWIN, "kind"), f"a machine of kind {kind} has another actuator than fitted.actuator; "
                            f"one of {_kinds_with(machine.settings.actuator)} has it"))
    if spec.sections.count != machine.settings.section_count:
        raise InputError(machine.source.problem(
            (FITTED, "sections"), f"{machine.settings.section_count} sections are fitted, but the "
                                  f"simulated machine has {spec.sections.count}: the twin needs "
                                  "the outlets of each section, as in sections = [3, 3]"))
    return spec


def uses_receiver(settings: Settings) -> bool:
    """Whether speed or place are to come from a receiver, by its sentences or over a CAN bus."""
    return bool(settings.speed_source != BY_PULSES or settings.can_use or settings.position_use)


def _fields(machine: MachineFile) -> dict[str, Any]:
    """What [fitted] says, in SI, by field."""
    return {known.name: known.read(said.texts[0], said.us) for known in FIELDS
            if (said := machine.fields.get(known.name))}


def _kind(machine: MachineFile, pump: Pump | None) -> str:
    """The electric kind whose pump is nearest; a machine with a valve has to name its kind."""
    if machine.settings.actuator != PWM_PUMP:
        raise ValueError("kind: is missing; the twin needs to know what drives the pump of a "
                         f"machine with a regulating valve: one of "
                         f"{_kinds_with(machine.settings.actuator)}")
    if pump is None:
        return "electric_m"

    def apart(kind: str) -> float:
        open_m3_s, _ = electric_line(_electric(machine_spec(kind)), 1.0, NOMINAL_V, 0.0)
        return abs(math.log(open_m3_s / pump.open_flow_m3_s))

    return min(ELECTRIC, key=apart)


def _kinds_with(actuator: int) -> str:
    """The kinds of machine with this actuator, for a message."""
    return ", ".join(kind for kind in KINDS
                     if ACTUATORS[machine_spec(kind).actuator] == actuator)


def _electric(spec: MachineSpec) -> ElectricPumpSpec:
    assert isinstance(spec.pump, ElectricPumpSpec)
    return spec.pump


def _with_fitted(spec: MachineSpec, machine: MachineFile, fields: Mapping[str, Any],
                 own: Mapping[str, Any]) -> MachineSpec:
    """The kind with the parts that are fitted."""
    tables: dict[str, dict[str, Any]] = {
        "sections": _sections(machine, fields),
        "manifold": _some(relief_pa=fields.get("relief")),
        "meter": _meter(fields),
        "ground": _some(pulses_per_m=fields.get("speed_sensor")),
        "liquid": _liquid(machine),
        "gnss": {"hz": RECEIVER_HZ} if uses_receiver(machine.settings) else {},
    }
    count = len(fields["sections"]) if "sections" in fields else spec.sections.count
    if count != spec.sections.count and len(spec.sections.hose_m) > 1:
        mean_m = sum(spec.sections.hose_m) / len(spec.sections.hose_m)
        tables["sections"]["hose_m"] = (mean_m,)
    if isinstance(spec.pump, ElectricPumpSpec) and "pump" in fields and "pump" not in own:
        tables["pump"] = _pump(spec.pump, fields["pump"])
    kept = spec.tables()
    changed = {name: {key: value for key, value in table.items()
                      if not _same(getattr(kept[name], key), value)}
               for name, table in tables.items()}
    return spec.override(**{name: table for name, table in changed.items() if table})


def _some(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def _same(own: Any, value: Any) -> bool:
    if isinstance(own, tuple):
        return bool(own == tuple(value))
    return math.isclose(own, value, rel_tol=SAME)


def _sections(machine: MachineFile, fields: Mapping[str, Any]) -> dict[str, Any]:
    found = _some(orifice_count=fields.get("sections"), check_pa=fields.get("check_valve"))
    if "outlet" in fields:
        outlet = texts.outlet(fields["outlet"], (BAR_PA, BAR_PA), machine.us)
        found["orifice_flow_m3_s"] = outlet.flow_m3_s
        found["orifice_pressure_pa"] = outlet.at_pressure_pa
    valve = fields.get("section_valve")
    if valve and valve.loss_pa > 0:
        found["valve_flow_m3_s"] = valve.rated_m3_s * math.sqrt(BAR_PA / valve.loss_pa)
    return found


def _meter(fields: Mapping[str, Any]) -> dict[str, Any]:
    span = fields.get("meter_range")
    return _some(pulses_per_m3=fields.get("meter"), full_scale_m3_s=span[1] if span else None)


def _liquid(machine: MachineFile) -> dict[str, Any]:
    """The liquid of the settings. Water to a controller is that of the twin, at 20 C."""
    density = machine.settings.liquid_density_g_l
    if density == WATER_G_L:
        return {"density_kg_m3": 998.2, "viscosity_pa_s": 1.002e-3}
    return {"density_kg_m3": float(density)}


def _pump(kind: ElectricPumpSpec, wanted: Pump) -> dict[str, Any]:
    """The pump of a kind, larger or smaller, with the slip that the two points of `wanted` tell.

    Volume and inertia go with the open flow, torque with the volume, so that speed and pressures
    stay those of its kind; then the slip makes the flow fall with pressure as it is said to.
    """
    open_m3_s, slope = electric_line(kind, 1.0, NOMINAL_V, 0.0)
    if math.isclose(wanted.open_flow_m3_s, open_m3_s, rel_tol=SAME) and math.isclose(
            wanted.slope_m3_s_pa, slope, rel_tol=SAME):
        return {}
    size = wanted.open_flow_m3_s / open_m3_s
    own_slope = size * (slope - kind.leak_m3_s_pa)  # what the motor's resistance alone costs
    return {
        "displacement_m3_rad": kind.displacement_m3_rad * size,
        "emf_v_s": kind.emf_v_s,
        "resistance_ohm": kind.resistance_ohm / size,
        "leak_m3_s_pa": max(wanted.slope_m3_s_pa - own_slope, 0.0),
        "friction_nm": kind.friction_nm * size,
        "breakaway_nm": kind.breakaway_nm * size,
        "inertia_kg_m2": kind.inertia_kg_m2 * size,
    }
