"""The parts of a machine to be sized, and the pressure that a flow takes through them.

SI floats. Every outlet is alike, so one number, the flow of one outlet, describes the state
of the whole bar; `Pattern` says which part of the bar is on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from host_sim.common import units
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.pump_spec import ElectricPumpSpec
from host_sim.plant.static_pump import electric_line
from host_sim.sizing import handbook

WATER_KG_M3 = 1000.0


@dataclass(frozen=True)
class Outlet:
    """A nozzle or orifice, by one measured point with water and its working range."""

    name: str
    flow_m3_s: float
    at_pressure_pa: float
    range_pa: tuple[float, float]

    def pressure_pa(self, flow_m3_s: float, sg: float) -> float:
        """Pressure across the orifice; square-root law, in proportion to density."""
        return handbook.orifice_pressure(self.flow_m3_s, self.at_pressure_pa, flow_m3_s, sg)

    def flow_at(self, pressure_pa: float, sg: float) -> float:
        """Flow at a pressure across the orifice."""
        return handbook.orifice_flow(self.flow_m3_s, self.at_pressure_pa, pressure_pa, sg)


def iso_outlet(size: str, range_pa: tuple[float, float]) -> Outlet:
    """An ISO 10625 size, by its meaning: tenths of a US gal/min at 40 psi."""
    flow = units.parse("flow_ul_s", f"{handbook.size_flow_gal_min(size)} gal/min", True)
    return Outlet(size, flow, units.parse("pressure_pa", "40 psi", True), range_pa)


@dataclass(frozen=True)
class Pump:
    """A positive-displacement pump at full drive: Q = open flow - slope x P.

    The straight line that a brushed motor with linear friction and slip gives
    (I = I0 + s P, Q = s (V - R I0) - (s^2 R + kl) P).
    """

    name: str
    open_flow_m3_s: float
    slope_m3_s_pa: float
    idle_m3_s: float = 0.0  # more would flow, did the motor need no voltage to run without load

    @classmethod
    def from_points(
        cls, name: str, open_flow_m3_s: float, flow_m3_s: float, pressure_pa: float
    ) -> Pump:
        """From two points of a data sheet: open flow, and flow at a pressure.

        What the motor needs without load is no part of them: taken as of class M.
        """
        like = PUMP_CLASSES["M"]
        idle_m3_s = open_flow_m3_s * like.idle_m3_s / like.open_flow_m3_s
        return cls(name, open_flow_m3_s, (open_flow_m3_s - flow_m3_s) / pressure_pa, idle_m3_s)

    @property
    def driven_m3_s(self) -> float:
        """Flow without pressure that full drive stands for, of which idling takes its part."""
        return self.open_flow_m3_s + self.idle_m3_s

    def flow_at(self, pressure_pa: float) -> float:
        """Largest flow against a pressure, m3/s."""
        return max(self.open_flow_m3_s - self.slope_m3_s_pa * pressure_pa, 0.0)


NOMINAL_V = 12.0


def _pump_class(name: str) -> Pump:
    """An electric pump of the twin, flat out on a battery that is not being charged."""
    pump = machine_spec(f"electric_{name.lower()}").pump
    assert isinstance(pump, ElectricPumpSpec)
    open_flow, slope = electric_line(pump, 1.0, NOMINAL_V, 0.0)
    return Pump(name, open_flow, slope, -electric_line(pump, 0.0, NOMINAL_V, 0.0)[0])


# Representative of a class of 12 V diaphragm pumps, of no product.
PUMP_CLASSES = {name: _pump_class(name) for name in ("S", "M", "L")}


@dataclass(frozen=True)
class Valve:
    """A fully open valve: the flow it is rated for, and what pressure that flow costs."""

    rated_m3_s: float
    loss_pa: float


@dataclass(frozen=True)
class Meter:
    """A volumetric flow meter. Reads true volume, whatever the density."""

    pulses_per_m3: float
    range_m3_s: tuple[float, float] | None


@dataclass(frozen=True)
class Pattern:
    """The part of the bar that is on: outlets of each open section."""

    name: str
    counts: tuple[int, ...]

    @property
    def outlets(self) -> int:
        """Outlets that are on."""
        return sum(self.counts)


@dataclass(frozen=True)
class SizedMachine:
    """Everything that can limit the flow. A part that is None does not limit."""

    outlet: Outlet
    spacing_m: float
    sections: tuple[int, ...]
    density_kg_m3: float = WATER_KG_M3
    check_pa: float = 0.0
    pump: Pump | None = None
    relief_pa: float | None = None
    regulating_valve: Valve | None = None
    section_valve: Valve | None = None
    meter: Meter | None = None
    speed_pulses_per_m: float = 130.0
    pulse_range_hz: tuple[float, float] = (2.0, 10e3)

    @property
    def sg(self) -> float:
        """Density over that of water."""
        return self.density_kg_m3 / WATER_KG_M3

    @property
    def whole(self) -> Pattern:
        """All sections on."""
        return Pattern("all sections", self.sections)

    @property
    def smallest(self) -> Pattern:
        """The smallest section on, alone."""
        count = min(self.sections)
        return Pattern(f"section {self.sections.index(count) + 1} alone", (count,))

    def resistance(self, pattern: Pattern) -> float:
        """Pressure at the pump per squared flow of one outlet, Pa/(m3/s)^2, check valve apart."""
        outlet = self.outlet.pressure_pa(1.0, self.sg)
        section = _loss(self.section_valve, max(pattern.counts))
        regulating = _loss(self.regulating_valve, pattern.outlets)
        return outlet + self.sg * (section + regulating)

    def pump_pressure_pa(self, outlet_flow_m3_s: float, pattern: Pattern) -> float:
        """Pressure at the pump: outlet, check valve and the losses of the open valves."""
        return self.check_pa + self.resistance(pattern) * outlet_flow_m3_s**2

    def pump_limit_m3_s(self, pattern: Pattern) -> float:
        """Flow of one outlet with the pump flat out: where its line meets the parabola.

        slope A q^2 + n q - (open flow - slope Pc) = 0, the root written so that it does
        not cancel for a stiff pump (slope towards 0).
        """
        assert self.pump is not None
        surplus = self.pump.flow_at(self.check_pa)
        outlets = pattern.outlets
        quadratic = self.pump.slope_m3_s_pa * self.resistance(pattern)
        return 2 * surplus / (outlets + sqrt(outlets**2 + 4 * quadratic * surplus))

    def relief_limit_m3_s(self, pattern: Pattern) -> float:
        """Flow of one outlet at the pressure where the relief valve opens."""
        assert self.relief_pa is not None
        return sqrt(max(self.relief_pa - self.check_pa, 0.0) / self.resistance(pattern))


def _loss(valve: Valve | None, outlets: int) -> float:
    """Loss of a valve with water, per squared flow of one of the `outlets` behind it."""
    return 0.0 if valve is None else valve.loss_pa * (outlets / valve.rated_m3_s) ** 2


@dataclass(frozen=True)
class Ask:
    """What is asked of the machine."""

    rates_m: Sequence[float]  # application rates, m3/m2
    speed_m_s: tuple[float, float]

    @property
    def lowest(self) -> tuple[float, float]:
        """(rate, speed) that takes the least flow."""
        return min(self.rates_m), self.speed_m_s[0]

    @property
    def highest(self) -> tuple[float, float]:
        """(rate, speed) that takes the most flow."""
        return max(self.rates_m), self.speed_m_s[1]
