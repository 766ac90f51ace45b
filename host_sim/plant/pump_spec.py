"""Parameters of the pumps and of the regulating valve.

Component figures are typical values from memory, representative of a class of part and of
no product: a calibration replaces them. What was fitted or computed says so.
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
    choice,
    number,
    whole,
)


@dataclasses.dataclass(frozen=True, slots=True)
class ElectricPumpSpec(ParameterTable):
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
    ripple_share: float = number(
        0.0, "flow ripple, peak to peak over mean: 0.14 for 3 ideal chambers; 0 is none", 0, 2
    )
    cut_out_pa: float = number(0.0, "built-in pressure switch opens; 0 is bridged", 0, 2e6)
    cut_in_pa: float = number(0.0, "pressure switch closes again, below cut_out_pa", 0, 2e6)

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
    ) -> ElectricPumpSpec:
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
        ParameterTable.__post_init__(self)
        if self.breakaway_nm < self.friction_nm:
            raise ValueError("pump.breakaway_nm: must be at least friction_nm")
        if self.cut_out_pa > 0.0 and not 0.0 < self.cut_in_pa < self.cut_out_pa:
            raise ValueError("pump.cut_in_pa: must lie between 0 and cut_out_pa")


@dataclasses.dataclass(frozen=True, slots=True)
class HydraulicPumpSpec(ParameterTable):
    """A PWM proportional flow valve, a hydraulic motor and a positive-displacement pump.

    The valve is pressure compensated: its oil flow does not depend on the load. Its command is
    the mean coil current, a duty times the supply voltage over `nominal_v`.
    """

    TABLE: ClassVar[str] = "pump"
    nominal_v: float = number(12.0, "supply at which the shares below hold", 5, 60)
    coil_ohm: float = number(7.0, "coil of the valve", 0.5, 200)
    dead_share: float = number(
        0.25, "command below which the spool's overlap passes nothing", 0, 0.9, Within(0.10, 0.35)
    )
    full_share: float = number(0.85, "command of full oil flow", 0.05, 2, Within(0.75, 0.95))
    play_share: float = number(
        0.04, "hysteresis of spool and magnet, widest gap of the branches", 0, 0.5,
        Within(0.02, 0.08),
    )
    lag_s: float = number(0.12, "spool; cold oil is 2-4 times slower", 1e-3, 5,
                          WithinLog(0.05, 0.4))
    exponent: float = number(
        1.2, "oil flow goes as travel to this power: progressive notches", 0.5, 3, Within(1.0, 1.6)
    )
    oil_flow_m3_s: float = number(38e-3 / 60, "at full travel", 1e-6, 1e-1, Percent(10))
    motor_m3_rad: float = number(
        30e-6 / 6.2832, "displacement of the motor per radian", 1e-8, 1e-2
    )
    motor_efficiency: float = number(0.92, "volumetric, of the motor", 0.1, 1, Within(0.85, 0.96))
    displacement_m3_rad: float = number(
        65e-6 / 6.2832, "displacement of the pump per radian", 1e-9, 1e-2, Percent(5)
    )
    leak_m3_s_pa: float = number(8e-11, "slip of the pump", 0, 1e-7, Times(2))
    chambers: int = whole(3, "diaphragms; an odd number ripples at twice its rate", 1, 9)
    ripple_share: float = number(0.0, "flow ripple, peak to peak over mean; 0 is none", 0, 2)

    def __post_init__(self) -> None:
        ParameterTable.__post_init__(self)
        if self.full_share <= self.dead_share:
            raise ValueError("pump.full_share: must be above dead_share")

    @property
    def top_speed_rad_s(self) -> float:
        """Of motor and pump, with the spool fully open."""
        return self.motor_efficiency * self.oil_flow_m3_s / self.motor_m3_rad


@dataclasses.dataclass(frozen=True, slots=True)
class CentrifugalPumpSpec(ParameterTable):
    """A centrifugal pump on a shaft of its own: P = n^2 P0 - a Q^2 (affinity laws)."""

    TABLE: ClassVar[str] = "pump"
    shutoff_pa: float = number(6.5e5, "P0, at no flow and nominal speed", 1e3, 5e6, Percent(8))
    droop_pa: float = number(
        1.0e5, "pressure lost at the rated flow, a Q^2", 1, 5e6, Percent(20)
    )
    rated_flow_m3_s: float = number(100e-3 / 60, "flow at which the droop holds", 1e-6, 1)

    @property
    def square_pa_s2_m6(self) -> float:
        """a of the pump's law."""
        return self.droop_pa / self.rated_flow_m3_s**2


@dataclasses.dataclass(frozen=True, slots=True)
class PdPumpSpec(ParameterTable):
    """A positive-displacement pump on a shaft of its own: Q = n Q0 - kl P."""

    TABLE: ClassVar[str] = "pump"
    flow_m3_s: float = number(85e-3 / 60, "Q0, at nominal speed", 1e-7, 1, Percent(8))
    leak_m3_s_pa: float = number(8e-11, "slip kl", 0, 1e-6, Times(2))


@dataclasses.dataclass(frozen=True, slots=True)
class ValveSpec(ParameterTable):
    """A motorised regulating valve."""

    TABLE: ClassVar[str] = "valve"
    flow_m3_s: float = number(100e-3 / 60, "fully open at 1 bar drop, water", 1e-7, 1, Percent(12))
    characteristic: str = choice(
        "equal_percentage", "flow over travel at a constant drop", "linear", "equal_percentage"
    )
    rangeability: float = number(
        30.0, "of the equal-percentage curve; shuts off at zero travel", 1.5, 300, Within(25, 50)
    )
    travel_s: float = number(4.0, "closed to open, motor running", 0.2, 60, WithinLog(2.0, 14.0))
    play_share: float = number(0.02, "of the travel, in gear and stem", 0, 0.3, Within(0.01, 0.05))
    start_s: float = number(
        0.04, "drive needed before it moves: shorter pulses do nothing", 0, 1, Within(0.02, 0.06)
    )
    overrun_s: float = number(
        0.015, "runs on after the drive ends, as time at full speed", 0, 0.5, Within(0.005, 0.025)
    )
    start_share: float = number(0.0, "where it stands at the start; 0 closed, 1 open", 0, 1)


