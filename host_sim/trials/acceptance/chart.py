"""The acceptance test as a picture: how soon and how well, and one machine's run in time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from host_sim.common import units
from host_sim.common.output import write_whole
from host_sim.trials.acceptance.contenders import (
    CONTENDERS,
    DYNAMIC_ORACLE,
    ORACLE,
    SECTIONS_UNANNOUNCED,
    THE_CONTROLLER,
)
from host_sim.trials.acceptance.judge import BAND, JudgedRow
from host_sim.trials.acceptance.sequence import OFF, ON, STAGE_S
from host_sim.trials.acceptance.session import AcceptanceOutcome
from host_sim.trials.acceptance.trial import Trial

# Colours of the palette of Okabe and Ito, and shapes: either is enough to tell them apart.
LOOKS = {
    THE_CONTROLLER: ("#0072B2", "o"),
    "fixed duty": ("#999999", "x"),
    "feedback alone": ("#E69F00", "s"),
    "feedback alone, quick": ("#D55E00", "v"),
    SECTIONS_UNANNOUNCED: ("#CC79A7", "^"),
    ORACLE: ("#000000", "|"),
    DYNAMIC_ORACLE: ("#009E73", "|"),
}
L_HA_M = 1e-7
SHOWN = (THE_CONTROLLER, "feedback alone")  # in the run over time


def draw(outcome: AcceptanceOutcome, path: Path, us: bool) -> Path:
    """Draw everything into a .png or .svg file."""
    figure = Figure(figsize=(15, 10.5), layout="constrained")
    parts = list(outcome.trials[0].driven[THE_CONTROLLER].rows)
    grid = figure.add_gridspec(3, len(parts), height_ratios=(4, 4, 3.4))
    _panels(figure, grid, 0, outcome, parts, "within 5 % after, s", _settling)
    _panels(figure, grid, 1, outcome, parts, "in the wrong place, x the oracle's (dashed: 1.3)",
            _ratio)
    _run(figure.add_subplot(grid[2, :]), outcome.trials[-1], us)
    handles, labels = figure.axes[parts.index(OFF)].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper right", ncols=len(labels), frameon=False)

    def save(part: Path) -> None:
        with matplotlib.rc_context({"svg.fonttype": "none"}):  # text that can be searched
            figure.savefig(part, dpi=110, format=path.suffix.lstrip("."))

    return write_whole(path, save)


def _settling(row: JudgedRow, oracle: JudgedRow) -> float:
    return row.settle_5_s


def _ratio(row: JudgedRow, oracle: JudgedRow) -> float:
    return row.wrong_l / oracle.wrong_l


def _panels(figure: Figure, grid: Any, line: int, outcome: AcceptanceOutcome, parts: list[str],
            label: str, value: Any) -> None:
    """A panel for each kind of change, the machines below each other in it."""
    machines = [trial.machine for trial in outcome.trials]
    places = range(len(machines))
    for column, part in enumerate(parts):
        axes = figure.add_subplot(grid[line, column])
        for name in CONTENDERS:
            if name == SECTIONS_UNANNOUNCED and part not in (OFF, ON):
                continue  # the controller itself
            colour, shape = LOOKS[name]
            values = [value(trial.driven[name].rows[part], trial.driven[ORACLE].rows[part])
                      for trial in outcome.trials]
            axes.plot(values, places, shape, color=colour, label=name, linestyle="none",
                      markersize=11 if name in (ORACLE, DYNAMIC_ORACLE) else 6.5, zorder=3,
                      fillstyle="none" if name == SECTIONS_UNANNOUNCED else "full")
        axes.set_yticks(places, machines if column == 0 else [""] * len(machines))
        axes.set_ylim(len(machines) - 0.5, -0.5)
        axes.grid(alpha=0.25)
        if line == 0:
            axes.set_title(part, fontsize=11)
            axes.set_xlim(-0.3, STAGE_S + 0.3)
        else:
            axes.set_xscale("log")
            axes.set_xlim(0.7, 90)
            axes.axvline(1.3, color="#009E73", linewidth=1, linestyle="--")
            axes.set_xticks([1, 10], ["1", "10"])
        if column == len(parts) // 2:
            axes.set_xlabel(label)


def _run(axes: Any, trial: Trial, us: bool) -> None:
    """Wanted and applied rate over time."""
    factor = units.shown("rate_ml_ha", L_HA_M, us)
    first = trial.driven[THE_CONTROLLER]
    wanted = first.wanted * factor
    axes.fill_between(first.time_s, (1 - BAND) * wanted, (1 + BAND) * wanted, color="#009E73",
                      alpha=0.25, linewidth=0, label="wanted, 5 % either way")
    for name in reversed(SHOWN):
        driven = trial.driven[name]
        axes.plot(driven.time_s, driven.applied * factor, color=LOOKS[name][0], linewidth=1.1,
                  label=name)
    top = float(max(wanted[wanted == wanted])) * 1.25
    seen = ""
    for stage in trial.sequence.stages:
        axes.axvline(stage.start_s, color="#000000", alpha=0.06, linewidth=0.8)
        if stage.part != seen:
            axes.text(stage.start_s, top * 0.98, " " + stage.part, va="top", fontsize=9)
            seen = stage.part
    axes.set_ylim(0, top)
    axes.set_xlim(trial.sequence.stages[0].start_s, trial.sequence.stages[-1].end_s)
    axes.set_ylabel(f"rate, {units.unit('rate_ml_ha', us)}")
    axes.set_xlabel(f"time, s ({trial.machine}, sections that are switched on)")
    axes.grid(alpha=0.2)
    axes.legend(loc="lower left", ncols=3, fontsize=9)
