"""The kinds of machine that can be simulated, and how to ask for one with other parameters."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from host_sim.plant.spec import (
    ElectricPump,
    MachineSpec,
    Manifold,
)
from host_sim.plant.units import L_MIN_M3_S


def machine_spec(kind: str, **overrides: Any) -> MachineSpec:
    """The machine of this kind, with tables of parameters changed.

    `machine_spec("electric_m", manifold={"compliance_ml_bar": 30}, meter={...})`; the tables
    are those of a TOML scenario. Raises ValueError naming the table and the parameter.
    """
    if kind not in KINDS:
        raise ValueError(f"kind: must be one of {', '.join(KINDS)}, got {kind!r}")
    return KINDS[kind]().override(**overrides)


def machine_spec_from_table(table: dict[str, Any]) -> MachineSpec:
    """The machine that a plain table describes: `kind` and the tables that differ from it."""
    if not isinstance(table.get("kind"), str):
        raise ValueError("kind: is missing or not a word")
    return machine_spec(**table)


def electric_m() -> MachineSpec:
    """A 3.5 m plot bar in sections of 1.0, 1.5 and 1.0 m behind a 12 V diaphragm pump.

    Seven orifices of 2.0 L/min at 3 bar, half a metre apart. 100 L/ha takes 2.9 L/min at
    5 km/h (duty 0.40, 0.6 bar), 5.8 at 10 (0.62, 1.0 bar) and 8.8 at 15 (0.89, 1.7 bar).
    """
    pump = ElectricPump.from_curve(
        open_flow_m3_s=11.3 * L_MIN_M3_S,
        open_current_a=4.0,
        loaded_pressure_pa=2.8e5,
        loaded_flow_m3_s=6.7 * L_MIN_M3_S,
        loaded_current_a=9.2,
        displacement_m3_rad=1.0011e-6,
        inertia_kg_m2=1.2e-4,
    )
    return MachineSpec("electric_m", "pwm_pump", pump, Manifold(relief_pa=4e5))


KINDS: dict[str, Callable[[], MachineSpec]] = {
    "electric_m": electric_m,
}
