"""The answer as a chart: the window of rates and speeds, and the pressure within it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.sizing.answer import Answer
from host_sim.sizing.limits import Limit, flow_window, lower_limits, sensed_speeds, upper_limits

# The colour-blind safe palette of Okabe and Ito.
FEASIBLE, USABLE, UNUSABLE = "#009E73", "#0072B2", "#D55E00"
PART_COLOURS = {
    "outlet": "#009E73",
    "pump": "#CC79A7",
    "meter": "#E69F00",
    "flow pulses": "#56B4E9",
    "section valve": "#8C6D31",
    "regulating valve": "#555555",
    "relief valve": "#000000",
    "speed pulses": "#56B4E9",
}
RATE_COLOURS = ("#0072B2", "#E69F00", "#000000", "#CC79A7", "#56B4E9")


def draw(answer: Answer, path: Path) -> None:
    """Draw both panels into a .png or .svg file."""
    figure = Figure(figsize=(9, 8.4), layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    speeds, us = _speed_axis(answer), answer.request.us
    figure.suptitle(_title(answer), x=0.01, ha="left", fontsize=11)
    _draw_asked(upper, answer)
    _draw_window(upper, answer, speeds)
    _draw_pressure(lower, answer, speeds)
    lower.set_xlabel(f"ground speed, {units.unit('speed_mm_s', us)}")
    lower.set_xlim(*_shown("speed_mm_s", speeds[[0, -1]], us))
    try:
        with matplotlib.rc_context({"svg.fonttype": "none"}):  # text that can be searched
            figure.savefig(path, dpi=130)
    except OSError as error:
        raise InputError(f"--plot: {path}: {error.strerror}") from None


def _speed_axis(answer: Answer) -> Any:
    """Speeds from well below the asked range to somewhat above, m/s."""
    low, high = answer.request.ask.speed_m_s
    return np.linspace(0.5 * low, 1.2 * high, 400)


def _draw_window(axes: Any, answer: Answer, speeds: Any) -> None:
    """Rate over speed: the feasible window, with the limits around it."""
    machine, us = answer.request.machine, answer.request.us
    window = flow_window(machine, machine.whole)
    sensed = sensed_speeds(machine)
    low, high = (_rates_of(answer, end, speeds) for end in (window.low, window.high))
    inside = (speeds >= sensed.low.value) & (speeds <= sensed.high.value) & (low <= high)
    axes.fill_between(
        _shown("speed_mm_s", speeds, us), low, high, where=inside, color=FEASIBLE, alpha=0.18,
        linewidth=0, label="feasible window" if inside.any() else "no feasible window",
    )  # fmt: skip
    top = 1.5 * units.shown("rate_ml_ha", max(answer.request.ask.rates_m), us)
    for limits, style, word in (
        (lower_limits(machine, machine.whole), "--", "least"),
        (upper_limits(machine, machine.whole), "-", "most"),
    ):
        for limit in limits:
            rates = _rates_of(answer, limit, speeds)
            if rates.min() < top:
                axes.plot(
                    _shown("speed_mm_s", speeds, us), rates, style,
                    color=PART_COLOURS[limit.part], label=f"{word}: {_limit_words(answer, limit)}",
                    linewidth=2.0 if limit in (window.low, window.high) else 1.0,
                )  # fmt: skip
    for end in (sensed.low, sensed.high):
        if speeds[0] < end.value < speeds[-1]:
            axes.axvline(
                units.shown("speed_mm_s", end.value, us), color=PART_COLOURS[end.part],
                linestyle="-.", label=f"limit: {end.part}",
            )  # fmt: skip
    axes.set_ylim(0, top)
    axes.set_ylabel(f"application rate, {units.unit('rate_ml_ha', us)}")
    _finish(axes)


def _rates_of(answer: Answer, limit: Limit, speeds: Any) -> Any:
    """The rates that a flow of one outlet is at these speeds, in the shown unit."""
    rates = limit.value / (speeds * answer.request.machine.spacing_m)
    return _shown("rate_ml_ha", rates, answer.request.us)


def _draw_asked(axes: Any, answer: Answer) -> None:
    """Each rate over the asked speeds: thick where usable, dotted where not."""
    request = answer.request
    us = request.us
    ends = [units.shown("speed_mm_s", end, us) for end in request.ask.speed_m_s]
    axes.axvspan(*ends, color="#000000", alpha=0.04, linewidth=0, label="speeds asked for")
    labels = {"usable": "rate asked for, usable", "not": "rate asked for, not usable"}
    for rate, window in zip(request.ask.rates_m, answer.coverage.windows, strict=True):
        level = units.shown("rate_ml_ha", rate, us)
        axes.plot(
            ends, [level, level], ":", color=UNUSABLE, linewidth=2.4, label=labels.pop("not", None)
        )
        if window.empty:
            continue
        usable = [units.shown("speed_mm_s", end.value, us) for end in (window.low, window.high)]
        axes.plot(
            usable, [level, level], "-", color=USABLE, linewidth=4, solid_capstyle="butt",
            zorder=3,
            label=labels.pop("usable", None),
        )  # fmt: skip


def _draw_pressure(axes: Any, answer: Answer, speeds: Any) -> None:
    """Outlet pressure over speed for each rate, against the outlet's working range."""
    request = answer.request
    machine, us = request.machine, request.us
    bottom, top = (units.shown("pressure_pa", end, us) for end in machine.outlet.range_pa)
    axes.axhspan(bottom, top, color=FEASIBLE, alpha=0.15, linewidth=0, label="outlet's range")
    shown_speeds = _shown("speed_mm_s", speeds, us)
    axes.set_prop_cycle(color=RATE_COLOURS)
    for rate, usable in zip(request.ask.rates_m, answer.coverage.windows, strict=True):
        flows = rate * speeds * machine.spacing_m
        pressures = _shown("pressure_pa", machine.outlet.pressure_pa(flows, machine.sg), us)
        inside = (speeds >= usable.low.value) & (speeds <= usable.high.value)
        (line,) = axes.plot(shown_speeds, pressures, ":", linewidth=1.4)
        axes.plot(
            np.where(inside, shown_speeds, np.nan), pressures, color=line.get_color(),
            linewidth=2.6, label=units.text("rate_ml_ha", rate, us),
        )  # fmt: skip
    ends = [units.shown("speed_mm_s", end, us) for end in request.ask.speed_m_s]
    axes.axvspan(*ends, color="#000000", alpha=0.04, linewidth=0)
    asked = [point.outlet_pressure_pa for points in answer.points for point in points]
    axes.set_ylim(0, max(1.4 * top, 1.05 * units.shown("pressure_pa", max(asked), us)))
    axes.set_ylabel(f"pressure across the outlet, {units.unit('pressure_pa', us)}")
    _finish(axes, "solid where usable")


def _finish(axes: Any, title: str | None = None) -> None:
    """Grid, and a legend beside the axes."""
    axes.grid(alpha=0.25)
    axes.legend(
        loc="upper left", bbox_to_anchor=(1.01, 1.0), fontsize=8.5, frameon=False,
        title=title, title_fontsize=8.5, alignment="left",
    )  # fmt: skip


def _limit_words(answer: Answer, limit: Limit) -> str:
    flow = units.text("outlet_flow_ul_s", limit.value, answer.request.us)
    return f"{limit.part} ({flow} each)"


def _title(answer: Answer) -> str:
    machine, us = answer.request.machine, answer.request.us
    pump = f", pump {machine.pump.name}" if machine.pump else ""
    return (
        f"Outlet {machine.outlet.name}, {machine.whole.outlets} of them "
        f"{units.text('width_mm', machine.spacing_m, us)} apart{pump}, "
        f"{units.text('density_g_l', machine.density_kg_m3, us)}, all sections on"
    )


def _shown(quantity: str, values: Any, us: bool) -> Any:
    """An array of SI values in the shown unit."""
    return values * units.shown(quantity, 1.0, us)
