"""The whole simulated machine: what the board drives, what its sensors give, and the truth."""

from __future__ import annotations

from random import Random
from typing import Protocol

from host_sim.plant.actuation import Actuation
from host_sim.plant.electric_pump import ElectricPump
from host_sim.plant.faults import FILTER_M3_S, PlantFaults
from host_sim.plant.field import Field
from host_sim.plant.flow_meter import TurbineMeter
from host_sim.plant.gnss import GnssReceiver
from host_sim.plant.ground import GroundSensor
from host_sim.plant.hose import Hose
from host_sim.plant.hydraulic_pump import HydraulicPump
from host_sim.plant.manifold import Manifold, Supply
from host_sim.plant.pulse_input import SensorInput
from host_sim.plant.pump_spec import ElectricPumpSpec, HydraulicPumpSpec
from host_sim.plant.regulated_pump import RegulatedPump
from host_sim.plant.sections import PlantSections
from host_sim.plant.spec import INLINE_VALVE, MachineSpec
from host_sim.plant.troubled_supply import TroubledSupply
from host_sim.plant.units import BAR_PA, L_MIN_M3_S, ML_M3
from host_sim.plant.way import Way

__all__ = ["Actuation", "Machine", "PlantFaults"]

SUBSTEP_US = 5_000
SUBSTEP_S = SUBSTEP_US * 1e-6
LEAK_ROOT_PA05 = 1e5**0.5  # a leak is given at 1 bar
RENEWAL_US = 50_000  # how often the friction of hoses is looked at
RENEWAL_SHARE = 0.01  # and how far the flow has to be from that at the last renewal
VALVE_DROP_V = 2.0  # of a valve's motor: brushes and friction; below it, it stands
SLOWEST_PACE = 0.05
IDLE = Actuation()


class _Dry:
    """What a pump delivers that has nothing to draw."""

    curved = False

    def line(self, pressure_pa: float) -> tuple[float, float]:
        return 0.0, 0.0


DRY = _Dry()


class PumpModel(Protocol):
    """What feeds the manifold, with all that drives and regulates it."""

    main_resistance: float

    @property
    def curved(self) -> bool: ...
    @property
    def speed_rad_s(self) -> float: ...
    @property
    def current_a(self) -> float: ...
    @property
    def battery_a(self) -> float: ...
    def drive(self, actuation: Actuation, supply_v: float, supply_ohm: float) -> None: ...
    def ripple(self, ideal: bool) -> None: ...
    def step(self, pressure_pa: float, span_s: float) -> None: ...
    def line(self, pressure_pa: float) -> tuple[float, float]: ...
    def main_flow_m3_s(self, pressure_pa: float) -> float: ...


class Machine:
    """A machine in motion. Everything is deterministic: same spec, seed and calls, same bits.

    Times are unwrapped integer microseconds. `faults` and `shaft_share`, the speed of a driven
    pump's shaft over nominal, may be set at any time and act from the next `advance`.
    """

    def __init__(self, spec: MachineSpec, seed: int = 0, start_us: int = 0) -> None:
        rng = Random(seed)
        manifold, sections = spec.manifold, spec.sections
        self.spec = spec
        self.time_us = start_us
        self.speed_m_s = 0.0
        self.distance_m = 0.0
        self.way = Way()
        self.shaft_share = 1.0
        self.faults = PlantFaults(orifice_factor=[1.0] * sections.count)
        self.field = Field(self.faults, seed)
        self.flow_meter = TurbineMeter(spec.meter, start_us, rng.random())
        self.speed_sensor = GroundSensor(spec.ground, rng, start_us, rng.random())
        self._speed_input = SensorInput(self.speed_sensor, "speed pulses", seed)
        self._flow_input = SensorInput(self.flow_meter, "meter pulses", seed)
        self.gnss = GnssReceiver(spec.gnss, seed, start_us)
        self._pump = make_pump(spec)
        relief_pa = 0.0 if spec.actuator == INLINE_VALVE else manifold.relief_pa
        self._manifold = Manifold(manifold, sections.check_pa, relief_pa)
        self._sections = PlantSections(sections, spec.liquid)
        self._main = main_hose(spec)
        self._mask = 0
        self._last = (0.0, 0)  # duty and mask before the output stage welded
        self._main_at_m3_s = 0.0
        self._hoses_at_m3_s = 0.0
        self._supply_v = spec.supply.loaded_v()
        self._hydraulics = self._hydraulic_faults()
        self._supply: Supply = self._pump

    def advance(self, now_us: int, actuation: Actuation, speed_m_s: float) -> None:
        """Live until `now_us` with the pins as given; speed goes linearly to `speed_m_s`.

        Over rough ground it goes to something around it.
        Raises ValueError for a time that runs backwards or a value out of range; nothing has
        moved then.
        """
        start_us = self.time_us
        span_us = now_us - start_us
        if span_us < 0:
            raise ValueError(f"now_us: {now_us} is before the machine's {start_us}")
        if not 0.0 <= speed_m_s < 100.0:
            raise ValueError(f"speed_m_s: must be between 0 and 100, got {speed_m_s!r}")
        if not 0.0 <= actuation.duty <= 1.0:
            raise ValueError(f"duty: must be between 0 and 1, got {actuation.duty!r}")
        if span_us == 0:
            return
        self._take_orders(actuation, span_us * 1e-6)
        self._travel(speed_m_s, start_us, span_us * 1e-6)
        self.gnss.step(now_us, self.speed_m_s, self.way, not self.faults.gnss_lost,
                       self.faults.sway_m_s)
        for begin_us in range(start_us, now_us, RENEWAL_US):
            self._renew_resistances()
            whole, rest_us = divmod(min(RENEWAL_US, now_us - begin_us), SUBSTEP_US)
            self._run(begin_us, whole, SUBSTEP_US, SUBSTEP_S)
            if rest_us:
                self._run(begin_us + whole * SUBSTEP_US, 1, rest_us, rest_us * 1e-6)
        self.time_us = now_us

    def _take_orders(self, actuation: Actuation, span_s: float) -> None:
        supply, faults, pump = self.spec.supply, self.faults, self._pump
        actuation = self._at_the_drivers(actuation)
        open_v = supply.crank_v if faults.cranking else supply.open_v - faults.supply_drop_v
        self._supply_v = supply.loaded_v(self.field.supply_v(open_v, span_s))
        pump.drive(IDLE if faults.pump_dead else actuation, self._supply_v, supply.resistance_ohm)
        if isinstance(pump, RegulatedPump):
            pump.shaft_share = 0.0 if faults.pump_dead else self.shaft_share
            pump.valve.pace = self._valve_pace() if faults.valve_follows_supply else 1.0
            if faults.regulator_stuck is not None:
                pump.seize(faults.regulator_stuck)
        self._manifold.air_m3 = self.spec.manifold.air_m3 + faults.air_m3
        if self._hydraulics != self._hydraulic_faults():
            self._break_hydraulics()
        self._supply = DRY if faults.tank_empty else pump
        if faults.suction_m3_s > 0.0 or faults.leak_down_s > 0.0:
            self._supply = self._troubled(self._supply, span_s)
        mask = actuation.section_mask
        if faults.sections_swapped:
            mask = mask & ~3 | mask << 1 & 2 | mask >> 1 & 1
        mask = (mask | faults.sections_open) & ~faults.sections_shut
        if mask != self._mask:
            self._mask = mask
            self._sections.drive(mask)

    def _valve_pace(self) -> float:
        """Pace of the regulating valve's motor: a DC motor's, less what its brushes drop."""
        nominal_v = self.spec.supply.loaded_v() - VALVE_DROP_V
        return max((self._supply_v - VALVE_DROP_V) / nominal_v, SLOWEST_PACE)

    def _hydraulic_faults(self) -> tuple[float, ...]:
        """What changes a resistance, a valve's time or the pump's ripple when it changes."""
        faults = self.faults
        return (faults.filter_pa, faults.viscosity_factor, faults.sections_slow,
                faults.pump_ripple)

    def _break_hydraulics(self) -> None:
        """Bring hoses, filter, section valves and pump in line with the faults."""
        faults = self.faults
        self._hydraulics = self._hydraulic_faults()
        self._main.viscosity_factor = faults.viscosity_factor
        self._sections.warm(faults.viscosity_factor)
        self._sections.slow_down(faults.sections_slow)
        self._main_at_m3_s = self._hoses_at_m3_s = -1.0  # stale
        self._pump.ripple(ideal=faults.pump_ripple)

    def _troubled(self, source: Supply, span_s: float) -> Supply:
        """What feeds the manifold, with the suction's limit and what leaks back past the pump."""
        faults = self.faults
        most_m3_s = self.field.suction_m3_s(span_s) if faults.suction_m3_s > 0.0 else 0.0
        compliance = self.spec.manifold.compliance_m3_pa
        back = compliance / faults.leak_down_s if faults.leak_down_s > 0.0 else 0.0
        return TroubledSupply(source, most_m3_s, back)

    def _at_the_drivers(self, actuation: Actuation) -> Actuation:
        """What the output stage makes of the pins: welded, it adds what was on when it struck."""
        if self.faults.driver_shorted:
            actuation = Actuation(1.0, actuation.valve_pulse_ms, actuation.section_mask)
        if not self.faults.outputs_welded:
            self._last = actuation.duty, actuation.section_mask
            return actuation
        duty, mask = self._last
        return Actuation(max(duty, actuation.duty), actuation.valve_pulse_ms,
                         mask | actuation.section_mask)

    def _renew_resistances(self) -> None:
        """Orifices that have changed, and hoses at the flow that they have now."""
        sections, manifold, pump = self._sections, self._manifold, self._pump
        flow = self.flow_m3_s
        main = pump.main_flow_m3_s(manifold.pressure_pa)
        if abs(main - self._main_at_m3_s) > RENEWAL_SHARE * self._main_at_m3_s:
            filter_square = self.faults.filter_pa / (FILTER_M3_S * FILTER_M3_S)
            pump.main_resistance = self._main.resistance(main) + filter_square
            self._main_at_m3_s = main
        stale = abs(flow - self._hoses_at_m3_s) > RENEWAL_SHARE * self._hoses_at_m3_s
        if stale or sections.factor != self.faults.orifice_factor:
            sections.factor = list(self.faults.orifice_factor)
            sections.refresh(manifold.root_pa05)
            self._hoses_at_m3_s = flow

    def _travel(self, speed_m_s: float, start_us: int, span_s: float) -> None:
        speed_m_s = self.field.true_m_s(speed_m_s, span_s)
        step_m = 0.5 * (self.speed_m_s + speed_m_s) * span_s
        self.distance_m += step_m
        self.way.travel(step_m)
        self.speed_m_s = speed_m_s
        if self.faults.speed_lost:
            self.speed_sensor.silence()
        else:
            sensed_m_s = self.field.sensed_m_s(speed_m_s, span_s)
            self.speed_sensor.step(sensed_m_s, start_us, span_s)
        if self.faults.speed_noise_hz > 0.0:
            self.speed_sensor.advance(self.faults.speed_noise_hz * span_s, start_us, span_s)

    def _run(self, start_us: int, steps: int, step_us: int, step_s: float) -> None:
        """The hot loop: section valves, pump, node, orifices, meter, in the order of the flow."""
        pump, manifold, sections, meter = (
            self._pump, self._manifold, self._sections, self.flow_meter
        )
        faults = self.faults
        metering = not faults.meter_stalled
        supply = self._supply
        leak = faults.leak_m3_s / LEAK_ROOT_PA05
        meter.factor = faults.meter_factor
        for time_us in range(start_us, start_us + steps * step_us, step_us):
            if sections.moving:
                sections.move(step_s, manifold.root_pa05)
            pump.step(manifold.pressure_pa, step_s)
            manifold.step(supply, sections.conductance + leak, step_s)
            sections.release(manifold.root_pa05 * step_s)
            if metering:
                meter.step(manifold.entering_m3_s, time_us, step_s)
        if not metering:
            meter.rotor_m3_s = 0.0
        if faults.meter_noise_hz > 0.0:
            span_s = steps * step_s
            meter.advance(faults.meter_noise_hz * span_s, start_us, span_s)

    @property
    def speed_input(self) -> SensorInput:
        """What the board sees of the speed sensor's pulses."""
        faults = self.faults
        return self._speed_input.follow(
            self.time_us, faults.speed_bounce_share, faults.speed_missed_share)

    @property
    def flow_input(self) -> SensorInput:
        """What the board sees of the flow meter's pulses."""
        faults = self.faults
        return self._flow_input.follow(
            self.time_us, faults.meter_bounce_share, faults.meter_missed_share)

    @property
    def supply_mv(self) -> int:
        """Voltage at the board, sagging under the pump's current."""
        return round(1e3 * max(self._supply_v - self.sag_v, 0.0))

    @property
    def sag_v(self) -> float:
        """By how much the pump's current pulls the supply down."""
        return self.spec.supply.resistance_ohm * self._pump.battery_a

    @property
    def section_volume_ml(self) -> list[float]:
        """Truth: what each section has let out since the start."""
        return [volume / ML_M3 for volume in self._sections.volume_m3]

    @property
    def section_flow_m3_s(self) -> list[float]:
        """Truth: what each section lets out now."""
        return [part * self._manifold.root_pa05 for part in self._sections.parts]

    @property
    def flow_m3_s(self) -> float:
        """Truth: out of all orifices."""
        return self._sections.conductance * self._manifold.root_pa05

    @property
    def flow_l_min(self) -> float:
        return self.flow_m3_s / L_MIN_M3_S

    @property
    def pressure_pa(self) -> float:
        """Truth: gauge pressure of the manifold."""
        return self._manifold.pressure_pa

    @property
    def pressure_bar(self) -> float:
        return self.pressure_pa / BAR_PA

    @property
    def motor_current_a(self) -> float:
        """Truth: of an electric pump's motor or a proportional valve's coil."""
        return self._pump.current_a

    @property
    def pump_speed_rad_s(self) -> float:
        """Truth: of a pump that the board drives."""
        return self._pump.speed_rad_s

    @property
    def valve_position(self) -> float | None:
        """Truth: of the regulating valve's ball, 0 closed to 1 open; None without one."""
        return self._pump.valve.ball if isinstance(self._pump, RegulatedPump) else None


def make_pump(spec: MachineSpec) -> PumpModel:
    """The live pump that a spec describes."""
    if isinstance(spec.pump, ElectricPumpSpec):
        return ElectricPump(spec.pump)
    if isinstance(spec.pump, HydraulicPumpSpec):
        return HydraulicPump(spec.pump)
    return RegulatedPump(spec)


def main_hose(spec: MachineSpec) -> Hose:
    """The hose from the pump to the manifold."""
    m = spec.manifold
    return Hose(m.main_m, m.main_bore_m, m.roughness_m, m.main_fittings, spec.liquid)
