"""The parameters of every part of a simulated machine.

Component figures are typical values from memory, representative of a class of part and of
no product: a calibration replaces them. What was fitted or computed says so. Where a
parameter carries a spread, `spread.vary` draws it from there.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any, ClassVar

from host_sim.plant.parameters import (
    Percent,
    Table,
    Times,
    Within,
    WithinLog,
    number,
    per_section,
    whole,
)


@dataclasses.dataclass(frozen=True, slots=True)
class ElectricPump(Table):
    """A brushed DC motor driving a diaphragm pump.

    Static curves: I = I0 + s P and Q = s (u V - R I0) - (s^2 R + kl) P, with s = D / Ke and
    I0 = Tf / Ke. `from_curve` inverts them for two points of a data sheet.
    """

    TABLE: ClassVar[str] = "pump"
    resistance_ohm: float = number(0.465, "winding and brushes", 1e-3, 100, Percent(12))
    emf_v_s: float = number(0.0539, "back-emf and torque constant Ke", 1e-4, 10, Percent(6))
    displacement_m3_rad: float = number(1.0e-6, "D, per radian", 1e-9, 1e-3, Percent(5))
    leak_m3_s_pa: float = number(1.14e-10, "slip past the valves, kl", 0, 1e-7, Times(1.6))
    friction_nm: float = number(0.216, "running friction Tf", 0, 50, Percent(20))
    breakaway_nm: float = number(0.27, "torque that starts it; at least Tf", 0, 100, Percent(10))
    inertia_kg_m2: float = number(1.2e-4, "rotor and crank", 1e-8, 1, Times(1.5))
    chambers: int = whole(3, "diaphragms; an odd number ripples at twice its rate", 1, 9)
    ripple_share: float = number(0.0, "flow ripple, peak to peak over mean; 0 is none", 0, 3.2)
    cut_out_pa: float = number(0.0, "built-in pressure switch opens; 0 is bridged", 0, 2e6)
    cut_in_pa: float = number(0.0, "pressure switch closes again, below cut-out", 0, 2e6)

    @classmethod
    def from_curve(
        cls,
        open_flow_m3_s: float,
        open_current_a: float,
        loaded_pressure_pa: float,
        loaded_flow_m3_s: float,
        loaded_current_a: float,
        displacement_m3_rad: float,
        inertia_kg_m2: float,
        volts: float = 12.0,
    ) -> ElectricPump:
        """The pump that has these two points at full duty and `volts`.

        Raises ValueError where no pump with linear friction has them (negative slip).
        """
        s = (loaded_current_a - open_current_a) / loaded_pressure_pa
        resistance = (volts - open_flow_m3_s / s) / open_current_a
        leak = (open_flow_m3_s - loaded_flow_m3_s) / loaded_pressure_pa - s * s * resistance
        emf = displacement_m3_rad / s
        return cls(
            resistance_ohm=resistance,
            emf_v_s=emf,
            displacement_m3_rad=displacement_m3_rad,
            leak_m3_s_pa=leak,
            friction_nm=emf * open_current_a,
            breakaway_nm=emf * open_current_a * 1.25,
            inertia_kg_m2=inertia_kg_m2,
        )

    def __post_init__(self) -> None:
        Table.__post_init__(self)
        if self.breakaway_nm < self.friction_nm:
            raise ValueError("pump.breakaway_nm: must be at least friction_nm")
        if self.cut_out_pa > 0.0 and not 0.0 < self.cut_in_pa < self.cut_out_pa:
            raise ValueError("pump.cut_in_pa: must lie between 0 and cut_out_pa")


@dataclasses.dataclass(frozen=True, slots=True)
class Manifold(Table):
    """What stores liquid between pump and section valves, and what lets it out."""

    TABLE: ClassVar[str] = "manifold"
    compliance_m3_pa: float = number(
        1.5e-10, "hose walls; 15 mL/bar is 3 m of soft 19 mm hose twice", 1e-13, 1e-7,
        WithinLog(1e-11, 2e-9),
    )
    after_meter_share: float = number(
        0.3, "part of the storage that lies downstream of the flow meter", 0, 1, Within(0, 1)
    )
    relief_pa: float = number(0.0, "relief valve at the pump outlet opens; 0 is none", 0, 5e7)
    relief_slope_m3_s_pa: float = number(
        2e-9, "relief flow per pressure above opening; 2e-9 is 12 L/min per bar", 1e-12, 1e-6
    )


@dataclasses.dataclass(frozen=True, slots=True)
class Sections(Table):
    """The sections of the bar: a valve, a hose and equal orifices each."""

    TABLE: ClassVar[str] = "sections"
    orifice_count: tuple[int, ...] = per_section((2, 3, 2), "orifices of each section", 1, 500)
    orifice_flow_m3_s: float = number(
        2.0e-3 / 60.0, "of one orifice at the reference pressure, water", 1e-9, 1e-2
    )
    orifice_pressure_pa: float = number(3e5, "reference pressure at the orifice", 1e3, 1e7)
    wear: tuple[float, ...] = per_section(
        (1.0,), "orifice flow over its nominal", 0, 3, Within(0.98, 1.06)
    )
    check_pa: float = number(0.5e5, "check valve at each orifice opens", 0, 5e5,
                             Within(0.3e5, 0.7e5))
    valve_flow_m3_s: float = number(
        20e-3 / 60.0, "section valve fully open at 1 bar drop, water", 1e-7, 1, Percent(15)
    )
    open_s: float = number(0.05, "section valve, closed to open", 1e-3, 10, Times(2))
    close_s: float = number(0.04, "section valve, open to closed", 1e-3, 10, Times(2))

    def __post_init__(self) -> None:
        Table.__post_init__(self)
        if not 1 <= self.count <= 16:
            raise ValueError(f"sections.orifice_count: 1 to 16 sections, got {self.count}")
        for name in ("orifice_count", "wear"):
            if len(getattr(self, name)) not in (1, self.count):
                raise ValueError(f"sections.{name}: {self.count} sections need as many numbers")
        if any(count != int(count) for count in self.orifice_count):
            raise ValueError("sections.orifice_count: must be whole numbers")

    @property
    def count(self) -> int:
        return len(self.orifice_count)

    def spread_out(self, name: str) -> tuple[float, ...]:
        """The per-section values of a parameter, one for each section."""
        values: tuple[float, ...] = getattr(self, name)
        return values * self.count if len(values) == 1 else values


@dataclasses.dataclass(frozen=True, slots=True)
class Liquid(Table):
    """The liquid: water unless stated."""

    TABLE: ClassVar[str] = "liquid"
    density_kg_m3: float = number(998.2, "water at 20 C", 500, 2500)
    viscosity_pa_s: float = number(1.002e-3, "dynamic; water at 20 C", 1e-5, 10)


@dataclasses.dataclass(frozen=True, slots=True)
class Meter(Table):
    """A turbine flow meter."""

    TABLE: ClassVar[str] = "meter"
    pulses_per_m3: float = number(450e3, "K-factor above the knee", 1, 1e9)
    full_scale_m3_s: float = number(15e-3 / 60.0, "largest flow", 1e-7, 1)
    lag_s: float = number(0.02, "rotor lag at full scale; grows as 1/flow", 1e-4, 5, Times(2))
    floor_share: float = number(
        0.02, "flow over full scale where the rotor stalls", 0, 0.5, Within(0.01, 0.04)
    )
    coast_s: float = number(0.3, "rotor's decay without flow", 1e-3, 10, Times(1.6))


@dataclasses.dataclass(frozen=True, slots=True)
class Ground(Table):
    """The ground-speed sensor."""

    TABLE: ClassVar[str] = "ground"
    pulses_per_m: float = number(130.0, "ISO 11786 style signal", 0.1, 1e4)
    slip_share: float = number(0.0, "sensed over true speed, minus 1", -0.5, 0.5, Within(0, 0.05))
    noise_m_s: float = number(0.0, "standard deviation of the sensed speed", 0, 1, Within(0, 0.05))
    noise_s: float = number(0.2, "correlation time of the noise", 1e-3, 10)
    blank_m_s: float = number(0.08, "no pulses below this speed", 0, 2, Within(0, 0.15))


@dataclasses.dataclass(frozen=True, slots=True)
class Supply(Table):
    """The battery and its wiring."""

    TABLE: ClassVar[str] = "supply"
    open_v: float = number(13.8, "at no load; 13.8 with the engine running", 0, 60,
                           Within(12.2, 14.4))
    resistance_ohm: float = number(0.04, "battery, wires, fuse", 0, 5, Times(2))
    base_current_a: float = number(1.0, "everything else that is on", 0, 200)
    crank_v: float = number(8.0, "while the starter turns", 0, 60, Within(6.5, 9.5))


PARTS: dict[str, type[Table]] = {
    table.TABLE: table for table in (Manifold, Sections, Liquid, Meter, Ground, Supply)
}


@dataclasses.dataclass(frozen=True, slots=True)
class MachineSpec:
    """All parameters of one machine. Plain data: it pickles and compares by value."""

    kind: str
    actuator: str  # "pwm_pump", "inline_valve" or "bypass_valve"
    pump: ElectricPump
    manifold: Manifold = Manifold()
    sections: Sections = Sections()
    liquid: Liquid = Liquid()
    meter: Meter = Meter()
    ground: Ground = Ground()
    supply: Supply = Supply()

    def override(self, **tables: Any) -> MachineSpec:
        """A copy with tables of parameters changed: `override(pump={"friction_nm": 0.3})`."""
        changes = {}
        for name, values in tables.items():
            table = getattr(self, name, None) if name in _TABLES else None
            if table is None:
                raise ValueError(f"{name}: a machine of kind {self.kind} has no such table")
            changes[name] = table.override(values)
        return dataclasses.replace(self, **changes)


_TABLES = frozenset((*PARTS, "pump"))


def orifice_conductance(flow_m3_s: float, pressure_pa: float) -> float:
    """k of the square-root law Q = k sqrt(P), in m3/s per square root of pascal."""
    return flow_m3_s / math.sqrt(pressure_pa)
