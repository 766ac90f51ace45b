"""What `tune` found, as a picture of four parts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from host_sim.trials.tuning.loop import machine_of
from host_sim.trials.tuning.response import fitted
from host_sim.trials.tuning.session import WRONG, Tuned
from rate_control.units import DUTY_FULL

BLUE, ORANGE, GREEN, GREY = "#0072b2", "#d55e00", "#009e73", "#777777"
COLOURS = {"too brisk": ORANGE, "as tuned": BLUE, "too slow": GREEN}
L_MIN = 60e-6  # from uL/s


def draw(tuned: Tuned, path: Path, suffix: str, us: bool) -> None:
    """Draw it into a file; suffix is .png or .svg."""
    figure = Figure(figsize=(11, 7.5), layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(f"{tuned.name}: learned curve, step test, and what other gains would do")
    curve, step, model, plant = figure.subplots(2, 2).flat
    _curve(curve, tuned, us)
    _step(step, tuned)
    _learning(model, tuned, tuned.model, "on the fitted model")
    if tuned.plant:
        _learning(plant, tuned, tuned.plant, "on the simulated machine")
    else:
        plant.set_axis_off()
    figure.savefig(path, format=suffix.lstrip("."), dpi=110)


def _curve(axis: Axes, tuned: Tuned, us: bool) -> None:
    settings = tuned.settings
    factor = L_MIN / 3.785411784 if us else L_MIN
    percent = 100 / DUTY_FULL
    demand = np.asarray(tuned.found.curve.demand_u16, dtype=float)
    flow = np.asarray(tuned.found.curve.flow_ul_s, dtype=float)
    shown = demand >= 0
    axis.plot(demand[shown] * percent, flow[shown] * factor, ".", color=GREY, markersize=1.5,
              alpha=0.4, label="every tick of the sweep")
    duty = np.asarray(settings.curve_duty_u16, dtype=float)
    flows = np.asarray(settings.curve_flow_ul_s, dtype=float) * factor
    axis.plot(duty * percent, flows, "o-", color=BLUE, label="learned, flow rising")
    if settings.curve_gap_u16:
        axis.plot((duty - settings.curve_gap_u16) * percent, flows, "--", color=ORANGE,
                  label="learned, flow falling")
    axis.set_xlabel("valve position, %" if tuned.gains.valve else "duty, %")
    axis.set_ylabel("flow, gal/min" if us else "flow, L/min")
    axis.set_title("pump curve")
    axis.legend(fontsize=8)
    axis.grid(alpha=0.3)


def _step(axis: Axes, tuned: Tuned) -> None:
    response = tuned.response
    for line in response.each:
        axis.plot(response.time_s, line, color=GREY, linewidth=0.6, alpha=0.6)
    axis.plot(response.time_s, response.mean, color=BLUE, label="measured, mean of all steps")
    machine = machine_of(tuned.settings)
    axis.plot(response.time_s, fitted(machine, response.time_s - tuned.late_s, tuned.motor_s),
              "--",
              color=ORANGE,
              label=f"fitted: delay {machine.delay_s:.2f} s, lag {machine.lag_s:.2f} s")
    axis.set_xlim(0, min(response.time_s[-1], 12 * (machine.delay_s + machine.lag_s)
                         + 2 * tuned.motor_s))
    axis.set_xlabel("s after the change of the demand")
    axis.set_ylabel("part of the step")
    axis.set_title("step test")
    axis.legend(fontsize=8)
    axis.grid(alpha=0.3)


def _learning(axis: Axes, tuned: Tuned, lines: dict[str, np.ndarray], where: str) -> None:
    for words, line in lines.items():
        axis.plot(tuned.time_s[: len(line)], 100 * line, color=COLOURS[words], label=words)
    axis.axhspan(95, 105, color=GREEN, alpha=0.12, label="within 5 %")
    axis.set_ylim(50, 150)
    axis.set_xlabel("s")
    axis.set_ylabel("flow, % of the wanted")
    axis.set_title(f"a curve that promises {100 * WRONG:.0f} % too much, {where}", fontsize=9)
    axis.legend(fontsize=8)
    axis.grid(alpha=0.3)
