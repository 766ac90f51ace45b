"""A machine at rest: where pump, valve, hoses and orifices balance, and the way back.

Solved from the static laws by bracketing, not by waiting for the live machine, so that each
checks the other. For sizing, for checks and for a controller that knows everything.

A `setting` is what the board can bring about in the end: the duty 0..1 of a PWM pump, the
position 0..1 of a regulating valve.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.optimize import brentq

from host_sim.plant import static_pump
from host_sim.plant.machine import main_hose
from host_sim.plant.sections import PlantSections
from host_sim.plant.spec import INLINE_VALVE, MachineSpec
from host_sim.plant.static_pump import ROUNDS, Conditions

NOMINAL = Conditions()


@dataclass(frozen=True, slots=True)
class SteadyState:
    """All at rest; what leaves the orifices is `flow_m3_s`, the sum of the sections."""

    flow_m3_s: float
    section_flow_m3_s: tuple[float, ...]
    pressure_pa: float  # of the manifold
    pump_pressure_pa: float  # before the main hose: at the pump, or behind a valve in line


class Bar:
    """The sections with given valves open, as a resistance."""

    def __init__(self, spec: MachineSpec, section_mask: int) -> None:
        self._check_pa = spec.sections.check_pa
        self._sections = PlantSections(spec.sections, spec.liquid)
        self._sections.drive(section_mask)
        self._sections.move(math.inf, 0.0)

    def flows(self, pressure_pa: float) -> tuple[float, ...]:
        """Of each section at a manifold pressure."""
        root = math.sqrt(max(pressure_pa - self._check_pa, 0.0))
        self._settle(lambda: root)
        return tuple(part * root for part in self._sections.parts)

    def pressure(self, flow_m3_s: float) -> float:
        """Of the manifold, for a total flow; infinite if every section is closed."""
        if self._sections.conductance <= 0.0:
            return math.inf
        self._settle(lambda: flow_m3_s / self._sections.conductance)
        return self._check_pa + (flow_m3_s / self._sections.conductance) ** 2

    def _settle(self, root_pa05: Callable[[], float]) -> None:
        for _ in range(ROUNDS):
            self._sections.refresh(root_pa05())


def steady_state(
    spec: MachineSpec, setting: float, section_mask: int, at: Conditions = NOMINAL
) -> SteadyState:
    """Where the machine comes to rest.

    Raises ValueError if nothing bounds the pressure.
    """
    bar, main = Bar(spec, section_mask), main_hose(spec)
    source = static_pump.source(spec, setting, at)

    def delivery(pressure_pa: float) -> tuple[float, float]:
        through_main = delivered = 0.0
        for _ in range(ROUNDS if spec.manifold.main_m > 0.0 else 1):
            through_main, delivered = source(main.resistance(through_main), pressure_pa)
        return through_main, delivered

    def surplus(pressure_pa: float) -> float:
        spent = relief_m3_s(spec, pressure_pa) + sum(bar.flows(pressure_pa))
        return delivery(pressure_pa)[1] - spent

    pressure_pa = _balance(surplus)
    flows = bar.flows(pressure_pa)
    through_main = delivery(pressure_pa)[0]
    loss_pa = main.resistance(through_main) * through_main * through_main
    return SteadyState(sum(flows), flows, pressure_pa, pressure_pa + loss_pa)


def _balance(surplus: Callable[[float], float]) -> float:
    """The pressure at which a falling surplus is used up; 0 if there is none to begin with."""
    if surplus(0.0) <= 0.0:
        return 0.0
    high_pa = 1e5
    while surplus(high_pa) > 0.0:
        high_pa *= 2.0
        if high_pa > 1e9:
            raise ValueError("section_mask: all closed, and nothing else bounds the pressure")
    pressure_pa: float = brentq(surplus, 0.0, high_pa, xtol=1e-6)
    return pressure_pa


def inverse_actuation(
    spec: MachineSpec, flow_m3_s: float, section_mask: int, at: Conditions = NOMINAL
) -> float:
    """The setting that gives this flow out of the open sections, as near as it can be reached.

    Exact inverse of `steady_state`, in closed form but for the friction factors; 0..1. With no
    flow wanted, the setting of least flow: a PWM pump off, a valve in line closed, one in
    bypass open.
    """
    pressure_pa = Bar(spec, section_mask).pressure(flow_m3_s)
    if flow_m3_s <= 0.0 or pressure_pa == math.inf:
        return static_pump.least_setting(spec)
    pumped = flow_m3_s + relief_m3_s(spec, pressure_pa)
    setting = static_pump.setting_for(spec, pumped, pressure_pa, main_hose(spec), at)
    return min(max(setting, 0.0), 1.0)


def flow_range(
    spec: MachineSpec, section_mask: int, at: Conditions = NOMINAL
) -> tuple[float, float]:
    """Least and greatest flow out of these sections at rest, over all settings."""
    ends = [steady_state(spec, end, section_mask, at).flow_m3_s for end in (0.0, 1.0)]
    return min(ends), max(ends)


def relief_m3_s(spec: MachineSpec, pressure_pa: float) -> float:
    """Through the relief valve at the manifold; behind a valve in line it is the pump's part."""
    manifold = spec.manifold
    if manifold.relief_pa <= 0.0 or spec.actuator == INLINE_VALVE:
        return 0.0
    return max(pressure_pa - manifold.relief_pa, 0.0) * manifold.relief_slope_m3_s_pa
