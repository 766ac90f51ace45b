"""Parameters of what the liquid flows through: manifold, hoses, section valves, orifices.

Component figures are typical values from memory, representative of a class of part and of
no product: a calibration replaces them.
"""

from __future__ import annotations

import dataclasses
from typing import ClassVar

from host_sim.plant.parameters import (
    ParameterTable,
    Percent,
    Times,
    Within,
    WithinLog,
    number,
    per_section,
)

SMOOTH_M = 1.5e-6  # roughness of rubber and plastic hose, drawn tubing


@dataclasses.dataclass(frozen=True, slots=True)
class ManifoldSpec(ParameterTable):
    """From the pump to the section valves: what stores liquid and what lets it out."""

    TABLE: ClassVar[str] = "manifold"
    compliance_m3_pa: float = number(
        1.5e-10, "hose walls; 3 m of soft 19 mm hose hold 8 mL/bar, 6 m of 25 mm 18", 1e-13, 1e-7,
        WithinLog(1e-11, 2e-9),
    )
    after_meter_share: float = number(
        0.3, "part of the storage that lies downstream of the flow meter", 0, 1, Within(0, 1)
    )
    air_m3: float = number(
        0.0, "trapped air, at atmospheric pressure", 0, 1e-1, Within(0, 100e-6)
    )
    accumulator_m3: float = number(0.0, "gas of an accumulator at its precharge; 0 is none", 0, 1)
    precharge_pa: float = number(1.5e5, "gauge, of the accumulator", 0, 1e7)
    relief_pa: float = number(0.0, "relief valve opens; 0 is none", 0, 5e7, Percent(5))
    relief_slope_m3_s_pa: float = number(
        2e-9, "relief flow per pressure above opening; 2e-9 is 12 L/min per bar", 1e-12, 1e-6
    )
    main_m: float = number(0.0, "length of the main hose; 0 leaves its loss out", 0, 200,
                           Percent(30))
    main_bore_m: float = number(0.019, "bore of the main hose", 1e-3, 0.5)
    main_fittings: float = number(8.0, "sum of the loss coefficients K along it", 0, 500, Times(2))
    roughness_m: float = number(SMOOTH_M, "of the main hose", 0, 1e-3)


@dataclasses.dataclass(frozen=True, slots=True)
class SectionsSpec(ParameterTable):
    """The sections of the bar: a valve, a hose and equal orifices each."""

    TABLE: ClassVar[str] = "sections"
    orifice_count: tuple[int, ...] = per_section(
        (2, 3, 2), "orifices of each section", 1, 500, shape="whole"
    )
    orifice_flow_m3_s: float = number(
        2.0e-3 / 60, "of one orifice at the reference pressure, water", 1e-9, 1e-2
    )
    orifice_pressure_pa: float = number(3e5, "reference pressure at the orifice", 1e3, 1e7)
    wear: tuple[float, ...] = per_section(
        (1.0,), "orifice flow over its nominal", 0, 3, Within(0.98, 1.06)
    )
    check_pa: float = number(
        0.5e5, "check valve at each orifice opens", 0, 5e5, Within(0.3e5, 0.7e5)
    )
    valve_flow_m3_s: float = number(
        20e-3 / 60, "section valve fully open at 1 bar drop, water", 1e-7, 1, Percent(15)
    )
    open_s: float = number(0.05, "section valve, closed to open", 1e-3, 10, Times(2))
    close_s: float = number(0.04, "section valve, open to closed", 1e-3, 10, Times(2))
    hose_m: tuple[float, ...] = per_section(
        (0.0,), "length of each section's hose; 0 leaves its loss out", 0, 200, Percent(30)
    )
    hose_bore_m: float = number(0.0127, "bore of these hoses", 1e-3, 0.5)
    hose_fittings: float = number(5.0, "sum of the loss coefficients K along each", 0, 500,
                                  Times(2))
    roughness_m: float = number(SMOOTH_M, "of these hoses", 0, 1e-3)

    def __post_init__(self) -> None:
        ParameterTable.__post_init__(self)
        if not 1 <= self.count <= 16:
            raise ValueError(f"sections.orifice_count: 1 to 16 sections, got {self.count}")
        for name in ("wear", "hose_m"):
            if len(getattr(self, name)) not in (1, self.count):
                raise ValueError(f"sections.{name}: {self.count} sections need as many numbers")

    @property
    def count(self) -> int:
        return len(self.orifice_count)

    def each(self, values: tuple[float, ...]) -> tuple[float, ...]:
        """Per-section values, one for each section."""
        return values * self.count if len(values) == 1 else values


@dataclasses.dataclass(frozen=True, slots=True)
class LiquidSpec(ParameterTable):
    """The liquid: water unless stated."""

    TABLE: ClassVar[str] = "liquid"
    density_kg_m3: float = number(998.2, "water at 20 C", 500, 2500)
    viscosity_pa_s: float = number(1.002e-3, "dynamic; water at 20 C", 1e-5, 10)
