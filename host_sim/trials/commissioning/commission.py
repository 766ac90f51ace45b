"""Commission a machine: the owner's settings, the pump curve, then the step test."""

from __future__ import annotations

from dataclasses import dataclass

from host_sim.plant.spec import MachineSpec
from host_sim.trials.commissioning.bench import Bench
from host_sim.trials.commissioning.owner import EXACT, Slips, owner_settings
from host_sim.trials.commissioning.performed import Performed, Performer, Tell
from rate_control.settings import Settings
from rate_control.units import AREA_PER_RATE

SETTLING_S = 1.5
WORKING_SHARE = 0.5  # of the highest flow: where the step test is made unless told otherwise
CURVE_SHARE = 0.6  # of the whole time, for the progress


@dataclass(frozen=True)
class Wish:
    """What the owner asks for. Without speed and rate the step test is made at half flow."""

    settling_s: float = SETTLING_S
    speed_m_s: float | None = None
    rate_ml_ha: float | None = None


@dataclass(frozen=True)
class Commissioned:
    """What commissioning left: settings, and both procedures as they went."""

    settings: Settings
    curve: Performed
    step: Performed


DEFAULT_WISH = Wish()


def commission(
    spec: MachineSpec,
    seed: int = 1,
    wish: Wish = DEFAULT_WISH,
    slips: Slips = EXACT,
    tell: Tell = lambda share: None,
) -> Commissioned:
    """Set a simulated machine up from nothing. Raises BenchError where a procedure fails."""
    bench = Bench(spec, seed)
    bench.change(owner_settings(spec, slips))
    return learn(bench, wish, tell)


def learn(bench: Performer, wish: Wish, tell: Tell) -> Commissioned:
    """Run both procedures, each with what the one before it has taught."""
    curve = bench.perform(
        "pump_curve", {"density_g_l": bench.settings.liquid_density_g_l},
        lambda share: tell(CURVE_SHARE * share))
    parameters = {
        "speed_mm_s": step_speed_mm_s(bench.settings, wish),
        "settling_time_ms": round(1e3 * wish.settling_s),
    }
    step = bench.perform("step_test", parameters,
                         lambda share: tell(CURVE_SHARE + (1.0 - CURVE_SHARE) * share))
    return Commissioned(bench.settings, curve, step)


def step_speed_mm_s(settings: Settings, wish: Wish) -> int:
    """The speed that takes, at the rate of the settings, the flow of the wished working point."""
    width_mm = settings.total_width_mm()
    per_mm_s = settings.rate_ml_ha * width_mm / AREA_PER_RATE  # uL/s for each mm/s
    if wish.speed_m_s is None:
        return round(WORKING_SHARE * settings.curve_flow_ul_s[-1] / per_mm_s)
    rate_ml_ha = wish.rate_ml_ha or settings.rate_ml_ha
    return round(1e3 * wish.speed_m_s * rate_ml_ha / settings.rate_ml_ha)
