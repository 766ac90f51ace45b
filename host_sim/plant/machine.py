"""The whole simulated machine: what the board drives, what its sensors give, and the truth."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from host_sim.plant.electric_pump import ElectricPump
from host_sim.plant.flow_meter import TurbineMeter
from host_sim.plant.ground import GroundSensor
from host_sim.plant.manifold import Manifold
from host_sim.plant.sections import Sections
from host_sim.plant.spec import MachineSpec
from host_sim.plant.units import BAR_PA, L_MIN_M3_S, ML_M3

SUBSTEP_US = 5_000
SUBSTEP_S = SUBSTEP_US * 1e-6


@dataclass(slots=True)
class Actuation:
    """What the board's pins do during the next interval."""

    duty: float = 0.0  # 0..1, PWM of a pump or a proportional valve
    valve_pulse_ms: int = 0  # regulating valve's motor: this long from now, + opens, - closes
    section_mask: int = 0  # bit i set: section valve i is driven open


class Machine:
    """A machine in motion. Everything is deterministic: same spec, seed and calls, same bits.

    Times are unwrapped integer microseconds. Faults are attributes that may be set at any time
    and act from the next `advance`.
    """

    def __init__(self, spec: MachineSpec, seed: int = 0, start_us: int = 0) -> None:
        rng = Random(seed)
        self.spec = spec
        self.time_us = start_us
        self.speed_m_s = 0.0
        self.distance_m = 0.0
        self.flow_meter = TurbineMeter(spec.meter, start_us, rng.random())
        self.speed_sensor = GroundSensor(spec.ground, rng, start_us, rng.random())
        self._pump = ElectricPump(spec.pump)
        self._manifold = Manifold(spec.manifold, spec.sections.check_pa)
        self._sections = Sections(spec.sections, spec.liquid)
        self._mask = 0

    def advance(self, now_us: int, actuation: Actuation, speed_m_s: float) -> None:
        """Live until `now_us` with the pins as given; speed goes linearly to `speed_m_s`.

        Raises ValueError for a time that runs backwards or a value out of range.
        """
        start_us = self.time_us
        span_us = now_us - start_us
        if span_us < 0:
            raise ValueError(f"now_us: {now_us} is before the machine's {start_us}")
        if not 0.0 <= speed_m_s < 100.0:
            raise ValueError(f"speed_m_s: must be between 0 and 100, got {speed_m_s!r}")
        if span_us == 0:
            return
        self._take_orders(actuation)
        self._travel(speed_m_s, start_us, span_us * 1e-6)
        whole, rest_us = divmod(span_us, SUBSTEP_US)
        self._run(start_us, whole, SUBSTEP_US, SUBSTEP_S)
        if rest_us:
            self._run(now_us - rest_us, 1, rest_us, rest_us * 1e-6)
        self.time_us = now_us

    def _take_orders(self, actuation: Actuation) -> None:
        if not 0.0 <= actuation.duty <= 1.0:
            raise ValueError(f"duty: must be between 0 and 1, got {actuation.duty!r}")
        supply = self.spec.supply
        open_v = max(supply.open_v - supply.resistance_ohm * supply.base_current_a, 0.0)
        self._pump.drive(actuation.duty, open_v, supply.resistance_ohm)
        if actuation.section_mask != self._mask:
            self._mask = actuation.section_mask
            self._sections.drive(self._mask)

    def _travel(self, speed_m_s: float, start_us: int, span_s: float) -> None:
        self.distance_m += 0.5 * (self.speed_m_s + speed_m_s) * span_s
        self.speed_sensor.step(speed_m_s, start_us, span_s)
        self.speed_m_s = speed_m_s

    def _run(self, start_us: int, steps: int, step_us: int, step_s: float) -> None:
        """The hot loop: valves, pump, node, orifices, meter, in the order of the flow."""
        pump, manifold, sections, meter = (
            self._pump, self._manifold, self._sections, self.flow_meter
        )
        for time_us in range(start_us, start_us + steps * step_us, step_us):
            if sections.moving:
                sections.move(step_s)
            source = pump.step(manifold.pressure_pa, step_s)
            manifold.step(source, pump.slope, sections.conductance, step_s)
            sections.release(manifold.root_pa05 * step_s)
            meter.step(manifold.entering_m3_s, time_us, step_s)

    @property
    def supply_mv(self) -> int:
        """Voltage at the board, sagging under the pump's current."""
        supply = self.spec.supply
        load_a = supply.base_current_a + self._pump.battery_a
        return round(1e3 * max(supply.open_v - supply.resistance_ohm * load_a, 0.0))

    @property
    def section_volume_ml(self) -> list[float]:
        """Truth: what each section has let out since the start."""
        self._sections.settle()
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
        return self._pump.current_a

    @property
    def pump_speed_rad_s(self) -> float:
        return self._pump.speed_rad_s
