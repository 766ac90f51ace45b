"""All parameters of a simulated machine, in tables as a scenario file has them.

Where a parameter carries a spread, `spread.vary` draws it from there; what has none is what
a calibration finds exactly (pulses per litre and per metre) or what makes the machine this
machine (sizes of orifices and hoses).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, ClassVar

from host_sim.plant.parameters import ParameterTable, Times, Within, number, whole
from host_sim.plant.plumbing_spec import LiquidSpec, ManifoldSpec, SectionsSpec
from host_sim.plant.pump_spec import (
    CentrifugalPumpSpec,
    ElectricPumpSpec,
    HydraulicPumpSpec,
    PdPumpSpec,
    ValveSpec,
)

PWM_PUMP, INLINE_VALVE, BYPASS_VALVE = "pwm_pump", "inline_valve", "bypass_valve"
PumpSpec = ElectricPumpSpec | HydraulicPumpSpec | CentrifugalPumpSpec | PdPumpSpec


@dataclasses.dataclass(frozen=True, slots=True)
class MeterSpec(ParameterTable):
    """A turbine flow meter."""

    TABLE: ClassVar[str] = "meter"
    pulses_per_m3: float = number(450e3, "K-factor above the knee; small hall turbine", 1, 1e9)
    full_scale_m3_s: float = number(15e-3 / 60, "largest flow", 1e-7, 1)
    lag_s: float = number(0.02, "rotor lag at full scale; grows as 1/flow", 1e-4, 5, Times(2))
    floor_share: float = number(
        0.02, "flow over full scale where the rotor stalls", 0, 0.5, Within(0.01, 0.04)
    )
    coast_s: float = number(0.3, "decay of the rotor without flow", 1e-3, 10, Times(1.6))


@dataclasses.dataclass(frozen=True, slots=True)
class GroundSpec(ParameterTable):
    """The ground-speed sensor."""

    TABLE: ClassVar[str] = "ground"
    pulses_per_m: float = number(
        130.0, "common agricultural signal; three wheel magnets give 1.4", 0.1, 1e4
    )
    slip_share: float = number(0.0, "sensed over true speed, minus 1", -0.5, 0.5, Within(0, 0.05))
    noise_m_s: float = number(
        0.0, "standard deviation of the sensed speed; 0.05 is a radar", 0, 1, Within(0, 0.05)
    )
    noise_s: float = number(0.2, "correlation time of the noise", 1e-3, 10)
    blank_m_s: float = number(0.08, "no pulses below this speed", 0, 2, Within(0, 0.15))


@dataclasses.dataclass(frozen=True, slots=True)
class GnssSpec(ParameterTable):
    """A GNSS receiver that sends place and speed as NMEA 0183 sentences."""

    TABLE: ClassVar[str] = "gnss"
    hz: float = number(0.0, "reports a second; 0: none is fitted", 0, 20)
    delay_s: float = number(0.15, "from the motion to the report", 0, 2)
    noise_m_s: float = number(0.02, "standard deviation of a report's speed", 0, 1)
    ahead_m: float = number(0.0, "true place of the antenna, from the outlets", -20, 20)
    right_m: float = number(0.0, "the same, to the right", -20, 20)
    quality: int = whole(1, "as GGA tells it: 1 without corrections, 4 fixed, 5 float", 1, 5)
    drift_m: float = number(
        0.65, "deviation, each way, of the slow error; 0.015 where corrected", 0, 10
    )
    drift_s: float = number(300.0, "correlation time of the slow error", 1, 1e5)
    jitter_m: float = number(0.03, "deviation, each way, from report to report", 0, 2)
    course_deg: float = number(0.5, "standard deviation of the course", 0, 20)


@dataclasses.dataclass(frozen=True, slots=True)
class SupplySpec(ParameterTable):
    """The battery and its wiring."""

    TABLE: ClassVar[str] = "supply"
    open_v: float = number(
        13.8, "at no load; 13.8 with the engine running", 0, 60, Within(12.2, 14.4)
    )
    resistance_ohm: float = number(0.04, "battery, wires, fuse", 0, 5, Times(2))
    base_current_a: float = number(1.0, "everything else that is on", 0, 200)
    crank_v: float = number(8.0, "while the starter turns", 0, 60, Within(6.5, 9.5))

    def loaded_v(self, open_v: float | None = None) -> float:
        """A voltage at no load, `self.open_v` if None, less what the base load takes off it."""
        volts = self.open_v if open_v is None else open_v
        return max(volts - self.resistance_ohm * self.base_current_a, 0.0)


@dataclasses.dataclass(frozen=True, slots=True)
class MachineSpec:
    """All parameters of one machine. Plain data: it pickles and compares by value."""

    kind: str
    actuator: str  # PWM_PUMP, INLINE_VALVE or BYPASS_VALVE
    pump: PumpSpec
    valve: ValveSpec | None = None
    manifold: ManifoldSpec = ManifoldSpec()
    sections: SectionsSpec = SectionsSpec()
    liquid: LiquidSpec = LiquidSpec()
    meter: MeterSpec = MeterSpec()
    ground: GroundSpec = GroundSpec()
    gnss: GnssSpec = GnssSpec()
    supply: SupplySpec = SupplySpec()

    def __post_init__(self) -> None:
        squeezed = isinstance(self.pump, PdPumpSpec) and self.actuator == INLINE_VALVE
        if squeezed and self.manifold.relief_pa <= 0.0:
            raise ValueError(
                "manifold.relief_pa: a valve in line with a positive-displacement pump needs one"
            )

    @property
    def valve_table(self) -> ValveSpec:
        """The regulating valve of a machine that has one."""
        if self.valve is None:
            raise ValueError(f"valve: a machine of kind {self.kind} has none")
        return self.valve

    def tables(self) -> dict[str, ParameterTable]:
        """The tables of parameters by name."""
        values = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)}
        return {name: value for name, value in values.items() if isinstance(value, ParameterTable)}

    def override(self, **tables: Mapping[str, Any]) -> MachineSpec:
        """A copy with tables of parameters changed: `override(pump={"friction_nm": 0.3})`."""
        own = self.tables()
        for name in tables:
            if name not in own:
                raise ValueError(f"{name}: a machine of kind {self.kind} has no such table")
        changes: dict[str, Any] = {
            name: own[name].override(values) for name, values in tables.items()
        }
        return dataclasses.replace(self, **changes)
