"""The kinds of machine that can be simulated, and how to ask for one with other parameters.

Sizes follow from the work each is said to do; component figures are typical, from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from host_sim.plant.plumbing_spec import LiquidSpec, ManifoldSpec, SectionsSpec
from host_sim.plant.pump_spec import (
    CentrifugalPumpSpec,
    ElectricPumpSpec,
    HydraulicPumpSpec,
    PdPumpSpec,
    ValveSpec,
)
from host_sim.plant.spec import (
    BYPASS_VALVE,
    INLINE_VALVE,
    PWM_PUMP,
    MachineSpec,
    MeterSpec,
    PumpSpec,
)
from host_sim.plant.units import BAR_PA, L_MIN_M3_S

# Liquid fertiliser, 28 % nitrogen solution: 1.28 kg/L; viscosity from memory.
NITROGEN_28 = LiquidSpec(density_kg_m3=1280.0, viscosity_pa_s=2.5e-3)


def machine_spec(kind: str, **overrides: Mapping[str, Any]) -> MachineSpec:
    """The machine of this kind, with tables of parameters changed.

    `machine_spec("electric_m", manifold={"compliance_ml_bar": 30}, meter={...})`; the tables
    are those of a TOML scenario. Raises ValueError naming the table and the parameter.
    """
    if kind not in KINDS:
        raise ValueError(f"kind: must be one of {', '.join(KINDS)}, got {kind!r}")
    return KINDS[kind]().override(**overrides)


def machine_spec_from_table(table: Mapping[str, Any]) -> MachineSpec:
    """The machine that a plain table describes: `kind` and the tables that differ from it."""
    if not isinstance(table.get("kind"), str):
        raise ValueError("kind: is missing or not a word")
    return machine_spec(**table)


def electric_s() -> MachineSpec:
    """A 2 m bar, two sections of 1 m, behind a small 12 V diaphragm pump.

    Four orifices of 1.2 L/min at 3 bar. 100 L/ha takes 1.7 L/min at 5 km/h and 3.3 at 10.
    """
    pump = ElectricPumpSpec.from_curve(
        open_flow_m3_s=5.0 * L_MIN_M3_S,
        open_current_a=2.0,
        loaded_pressure_pa=2.8e5,
        loaded_flow_m3_s=3.2 * L_MIN_M3_S,
        loaded_current_a=4.5,
        displacement_m3_rad=2.5e-6 / 6.2832,
        inertia_kg_m2=3e-5,
    )
    return MachineSpec(
        "electric_s", PWM_PUMP, pump,
        manifold=ManifoldSpec(compliance_m3_pa=8e-11, relief_pa=4e5, main_m=1.5,
                              main_bore_m=0.0127),
        sections=SectionsSpec(orifice_count=(2, 2), orifice_flow_m3_s=1.2 * L_MIN_M3_S,
                              valve_flow_m3_s=12 * L_MIN_M3_S, hose_m=(1.0,), hose_bore_m=0.0095),
        meter=MeterSpec(full_scale_m3_s=8 * L_MIN_M3_S),
    )


def electric_m() -> MachineSpec:
    """A 3.5 m plot bar in sections of 1.0, 1.5 and 1.0 m behind a 12 V diaphragm pump.

    Seven orifices of 2.0 L/min at 3 bar, half a metre apart. 100 L/ha takes 2.9 L/min at
    5 km/h (duty 0.40, 0.6 bar), 5.8 at 10 (0.63, 1.0 bar) and 8.8 at 15 (0.91, 1.7 bar).
    """
    pump = ElectricPumpSpec.from_curve(
        open_flow_m3_s=11.3 * L_MIN_M3_S,
        open_current_a=4.0,
        loaded_pressure_pa=2.8e5,
        loaded_flow_m3_s=6.7 * L_MIN_M3_S,
        loaded_current_a=9.2,
        displacement_m3_rad=6.29e-6 / 6.2832,
        inertia_kg_m2=1.2e-4,
    )
    return MachineSpec(
        "electric_m", PWM_PUMP, pump,
        manifold=ManifoldSpec(relief_pa=4e5, main_m=2.0),
        sections=SectionsSpec(hose_m=(1.5, 1.0, 1.5)),
    )


def electric_l() -> MachineSpec:
    """A 6 m bar, four sections of 1.5 m, behind a large 12 V diaphragm pump.

    Twelve orifices of 2.0 L/min at 3 bar. 100 L/ha takes 5 L/min at 5 km/h and 15 at 15.
    """
    pump = ElectricPumpSpec.from_curve(
        open_flow_m3_s=19.0 * L_MIN_M3_S,
        open_current_a=7.0,
        loaded_pressure_pa=4.1e5,
        loaded_flow_m3_s=12.0 * L_MIN_M3_S,
        loaded_current_a=19.0,
        displacement_m3_rad=10e-6 / 6.2832,
        inertia_kg_m2=3e-4,
    )
    return MachineSpec(
        "electric_l", PWM_PUMP, pump,
        manifold=ManifoldSpec(compliance_m3_pa=2e-10, relief_pa=5e5, main_m=3.0),
        sections=SectionsSpec(orifice_count=(3, 3, 3, 3), hose_m=(2.5, 1.0, 1.0, 2.5)),
        meter=MeterSpec(pulses_per_m3=300e3, full_scale_m3_s=25 * L_MIN_M3_S),
    )


def hydraulic() -> MachineSpec:
    """A 12 m bar, six sections of 2 m, behind a diaphragm pump on a hydraulic motor.

    24 orifices of 2.5 L/min at 3 bar. At 2 m/s 100 L/ha takes 14 L/min (0.7 bar) and 500 L/ha
    72 (5.3 bar).
    """
    return MachineSpec(
        "hydraulic", PWM_PUMP, HydraulicPumpSpec(),
        manifold=ManifoldSpec(compliance_m3_pa=3e-10, relief_pa=8e5, main_m=4.0,
                              main_bore_m=0.025),
        sections=SectionsSpec(
            orifice_count=(4,) * 6, orifice_flow_m3_s=2.5 * L_MIN_M3_S,
            valve_flow_m3_s=40 * L_MIN_M3_S, open_s=0.1, close_s=0.08,
            hose_m=(6.0, 4.0, 2.0, 2.0, 4.0, 6.0), hose_bore_m=0.019,
        ),
        meter=MeterSpec(pulses_per_m3=100e3, full_scale_m3_s=100 * L_MIN_M3_S),
    )


def inline_centrifugal() -> MachineSpec:
    """The fertiliser bar, a centrifugal pump and a regulating valve in the line."""
    return fertiliser_bar("inline_centrifugal", INLINE_VALVE, CentrifugalPumpSpec(), ValveSpec())


def inline_pd() -> MachineSpec:
    """The fertiliser bar, a shaft-driven displacement pump relieved at 6 bar, valve in line."""
    return fertiliser_bar("inline_pd", INLINE_VALVE, PdPumpSpec(), ValveSpec(), 6 * BAR_PA)


def bypass_centrifugal() -> MachineSpec:
    """The fertiliser bar, a centrifugal pump with a steep curve, and a valve back to the tank.

    A flat curve would leave the valve hardly any authority.
    """
    pump = CentrifugalPumpSpec(
        shutoff_pa=8 * BAR_PA, droop_pa=4 * BAR_PA, rated_flow_m3_s=80 * L_MIN_M3_S
    )
    valve = ValveSpec(flow_m3_s=200 * L_MIN_M3_S, start_share=1.0)
    return fertiliser_bar("bypass_centrifugal", BYPASS_VALVE, pump, valve)


def bypass_pd() -> MachineSpec:
    """The fertiliser bar, a shaft-driven displacement pump and a valve back to the tank."""
    valve = ValveSpec(flow_m3_s=150 * L_MIN_M3_S, start_share=1.0)
    return fertiliser_bar("bypass_pd", BYPASS_VALVE, PdPumpSpec(), valve, 8 * BAR_PA)


def fertiliser_bar(
    kind: str, actuator: str, pump: PumpSpec, valve: ValveSpec, relief_pa: float = 0.0
) -> MachineSpec:
    """12 m for liquid fertiliser: four sections of 3 m, 24 orifices of 3.0 L/min water at 3 bar.

    At 2 m/s 100 L/ha takes 14 L/min (0.7 bar) and 500 L/ha 72 (4.4 bar). Section valves are
    motor balls.
    """
    return MachineSpec(
        kind, actuator, pump, valve,
        manifold=ManifoldSpec(compliance_m3_pa=3e-10, relief_pa=relief_pa, main_m=4.0,
                              main_bore_m=0.025),
        sections=SectionsSpec(
            orifice_count=(6, 6, 6, 6), orifice_flow_m3_s=3 * L_MIN_M3_S,
            valve_flow_m3_s=80 * L_MIN_M3_S, open_s=0.8, close_s=0.8,
            hose_m=(5.0, 2.0, 2.0, 5.0), hose_bore_m=0.025,
        ),
        liquid=NITROGEN_28,
        meter=MeterSpec(pulses_per_m3=100e3, full_scale_m3_s=100 * L_MIN_M3_S),
    )


KINDS: dict[str, Callable[[], MachineSpec]] = {
    make.__name__: make
    for make in (electric_s, electric_m, electric_l, hydraulic, inline_centrifugal, inline_pd,
                 bypass_centrifugal, bypass_pd)
}
