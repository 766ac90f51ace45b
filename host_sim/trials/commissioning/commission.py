"""Commission a machine: the owner's settings, the pump curve, then the step test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.units_text import UNITS, pointed
from host_sim.plant.spec import MachineSpec
from host_sim.trials.commissioning.bench import Bench
from host_sim.trials.commissioning.owner import EXACT, Slips, owner_settings
from host_sim.trials.commissioning.performed import BenchError, Performed, Performer, Tell
from rate_control.procedures.catalogue import P_HIGH, P_LOW, P_NAME, PARAMS, row
from rate_control.settings import Settings
from rate_control.units import AREA_PER_RATE

SETTLING_S = 1.5
WORKING_SHARE = 0.5  # of the highest flow: where the step test is made unless told otherwise
STEP_ABOVE = 1.15  # the highest flow of the step test over that of its speed
CURVE_SHARE = 0.6  # of the whole time, for the progress


Keep = Callable[[Performed], None]


@dataclass(frozen=True)
class Wish:
    """What the owner asks for. Without speed and rate the step test is made at half flow.

    `us` says in which units the owner is told what would work, None in those of the settings.
    """

    settling_s: float = SETTLING_S
    speed_m_s: float | None = None
    rate_ml_ha: float | None = None
    us: bool | None = None


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
    entered: dict[str, Any] | None = None,
) -> Commissioned:
    """Set a simulated machine up, as `entered` or as its owner would from tape and data sheet.

    Raises BenchError where a procedure fails.
    """
    bench = Bench(spec, seed)
    bench.change(dict(entered) if entered else owner_settings(spec, slips))
    return learn(bench, wish, tell)


def learn(bench: Performer, wish: Wish, tell: Tell,
          keep: Keep = lambda performed: None) -> Commissioned:
    """Run both procedures, each with what the one before it has taught.

    `keep` is given each as soon as it is finished: the curve is kept even where the step test
    cannot run. Raises BenchError; of a step test it says which flows and speeds would do.
    """
    curve = bench.perform(
        "pump_curve", {"density_g_l": bench.settings.liquid_density_g_l},
        lambda share: tell(CURVE_SHARE * share))
    keep(curve)
    parameters = {
        "speed_mm_s": step_speed_mm_s(bench.settings, wish),
        "settling_time_ms": round(1e3 * wish.settling_s),
    }
    try:
        step = bench.perform("step_test", parameters,
                             lambda share: tell(CURVE_SHARE + (1.0 - CURVE_SHARE) * share))
    except BenchError as error:
        raise BenchError(f"{error}. {reach(bench.settings, wish)}") from error
    keep(step)
    return Commissioned(bench.settings, curve, step)


def step_limits(name: str) -> tuple[int, int]:
    """The least and the most that a parameter of the step test may be."""
    low, high = next(param[P_LOW:P_HIGH + 1] for param in row("step_test")[PARAMS]
                     if param[P_NAME] == name)
    return low, high


def reach(settings: Settings, wish: Wish) -> str:
    """What the learned curve can do at the wished rate, and what the step test needs."""
    us = bool(settings.us_units) if wish.us is None else wish.us
    rate_ml_ha = wish.rate_ml_ha or settings.rate_ml_ha
    width_mm = sum(settings.section_width_mm[: settings.section_count])
    top_ul_s = settings.curve_flow_ul_s[-1]
    fastest_mm_s = top_ul_s * AREA_PER_RATE / (rate_ml_ha * width_mm)
    works_mm_s = min(fastest_mm_s / STEP_ABOVE, step_limits("speed_mm_s")[1])

    def text(quantity: str, value: float) -> str:
        """Never more than there is: the last digit that is shown is not rounded up."""
        label, decimals, numerator, denominator = UNITS[quantity][us]
        return f"{pointed(int(value * denominator * 10**decimals / numerator), decimals)} {label}"

    return (f"The highest flow is {text('flow_ul_s', top_ul_s)}: at "
            f"{text('rate_ml_ha', rate_ml_ha)} over {text('width_mm', width_mm)} that is "
            f"{text('speed_mm_s', fastest_mm_s)}. The step test goes 15 % above the speed it is "
            f"given, so it works up to {text('speed_mm_s', works_mm_s)}.")


def step_speed_mm_s(settings: Settings, wish: Wish) -> int:
    """The speed that takes, at the rate of the settings, the flow of the wished working point."""
    width_mm = settings.total_width_mm()
    per_mm_s = settings.rate_ml_ha * width_mm / AREA_PER_RATE  # uL/s for each mm/s
    if wish.speed_m_s is None:
        return round(WORKING_SHARE * settings.curve_flow_ul_s[-1] / per_mm_s)
    rate_ml_ha = wish.rate_ml_ha or settings.rate_ml_ha
    return round(1e3 * wish.speed_m_s * rate_ml_ha / settings.rate_ml_ha)
