"""Whether a machine can do what a plan asks for."""

from __future__ import annotations

from pathlib import Path

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.field_trial.plan import Plan
from host_sim.machine_file.machine import MachineFile
from host_sim.twin.scenario_events import ML_HA_PER_M

WIDTH_SHARE = 0.01  # a bar may be so much wider or narrower than a plot
SPEED_M_S = (0.2, 10.0)


def check_machine(path: Path, plan: Plan, machine: MachineFile) -> None:
    """Raise InputError, naming the plan, with everything that does not fit the machine."""
    settings, us = machine.settings, plan.us
    bar_m = sum(settings.widths_mm()) / 1000
    problems = []
    for plot in plan.plots:
        if plot.width_m is not None and abs(plot.width_m / bar_m - 1) > WIDTH_SHARE:
            wide, bar = (units.text("width_mm", width_m, us) for width_m in (plot.width_m, bar_m))
            problems.append(f"{path}: width: plot {plot.name} is {wide} wide, the bar of the "
                            f"machine {bar}")
        if round(plot.rate_m * ML_HA_PER_M) > settings.highest_rate_ml_ha:
            rate, most = (units.text("rate_ml_ha", rate_m, us) for rate_m in
                          (plot.rate_m, settings.highest_rate_ml_ha / ML_HA_PER_M))
            problems.append(f"{path}: rate: plot {plot.name} gets {rate}, more than the highest "
                            f"rate set at the machine, {most}")
    if problems:
        raise InputError(*problems)


def speed_problem(speed_m_s: float) -> str:
    """What is wrong with a speed over plots, empty for nothing."""
    low, high = SPEED_M_S
    if low <= speed_m_s <= high:
        return ""
    least, most = (units.text("speed_mm_s", speed, False) for speed in SPEED_M_S)
    return f"must be {least} to {most}"
