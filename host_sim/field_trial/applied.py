"""What was applied on each plot of a plan, from a run, and how well that is known.

The figures are those of the controller itself: of a real machine nobody knows more. Where the run
is one of the twin, the truth stands beside them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from app.trial import WHOLE_PERCENT
from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.field_trial.plan import Plan, Plot
from host_sim.field_trial.plan_binary import mark_of, plan_rows
from host_sim.field_trial.uncertainty import Figure, Knowledge, MeasuredPlot, figures_of
from host_sim.report.words import L_HA_M, L_M3, spoken
from host_sim.runs.judged import CELL_M, M2_HA
from host_sim.runs.measured import as_measured
from host_sim.runs.passes import Pass, cut, edge_m
from host_sim.runs.plot_record import PlotRecord
from host_sim.runs.record import RunRecord
from host_sim.runs.truth import true_run
from rate_control.settings import Settings

FLAG_PCT = (5.0, 10.0)  # deviations from the plan's rate that are marked
LENGTH_SHARE, LENGTH_M = 0.2, 1.0  # a pass may be so much longer or shorter than planned
RATE_SHARE = 0.03  # of the rate; the ends of a plot may be off by a tick, and short plots show it
WHOLE_SHARE = WHOLE_PERCENT / 100  # of its length: what the board takes for a whole plot
CUT_SHORT = "cut short"  # how a plot ended that a person stopped
OF_PIECE = {"cv": "cv_pct", "start_error": "start_error_m", "end_error": "end_error_m"}
PULSES_M3, PULSES_M = 10.0, 1e-3  # of the settings' pulses for 100 L and for 1 km


@dataclass(frozen=True)
class Applied:
    """A plot, the figures of its piece of the run, and each figure's value and uncertainty.

    `figures` is empty for a plot that gets nothing. `truth_m` is the true mean rate, where known.
    """

    plot: Plot
    piece: dict[str, Any] = field(default_factory=dict)
    figures: dict[str, Figure] = field(default_factory=dict)
    truth_m: float | None = None
    flags: tuple[str, ...] = ()


def applied(path: Path, plan: Plan, record: RunRecord, know: Knowledge,
            leave_out: Sequence[int] = (), not_driven: Sequence[str] = ()) -> list[Applied]:
    """What each plot got, in the order of driving.

    `leave_out` are numbers of passes of the run that are none of the plan, `not_driven` names of
    plots that were not driven. Raises InputError, naming the plan, where run and plan do not fit.
    """
    measured = as_measured(record)
    pieces = _pieces(path, plan, measured, leave_out, not_driven)
    known = record is not measured
    truths = _pieces(path, plan, record, leave_out, not_driven) if known else {}
    width_m = sum(record.about["section_width_m"])
    found = []
    for plot in plan.plots:
        if plot.name in not_driven:
            continue
        piece = pieces.get(plot.name)
        if piece is None:
            found.append(Applied(plot))
            continue
        settings = record.about["settings"]
        measure = _measured(plot, piece, settings, width_m, know)
        figures = _known(piece, figures_of(measure, know))
        rate = truths[plot.name]["mean_rate_l_ha"] if known else None
        found.append(Applied(plot, piece, figures, None if rate is None else rate * L_HA_M,
                             tuple(_flags(plot, piece, figures, plan.us))))
    return found


def applied_by_board(path: Path, plan: Plan, record: PlotRecord, settings: Settings,
                     know: Knowledge, not_driven: Sequence[str] = ()) -> list[Applied]:
    """What each plot got by the record of the board itself, in the order of driving.

    Of a plot that was treated more than once the last whole time counts, else the last; what was
    put down before is flagged. Raises InputError, naming the plan, where record and plan do not
    fit.
    """
    rows = record.of_plan(mark_of(plan_rows(plan)))
    if not rows:
        raise InputError(f"{path}: is not the plan that the board drove by: none of its "
                         f"{len(record.rows)} lines is of this one")
    names = {plot.name for plot in plan.plots}
    problems = [f"--not-driven: {name} is no plot of {path}"
                for name in not_driven if name not in names]
    found = []
    for plot in plan.plots:
        times = [row for row in rows if row["plot"] == plot.name and row["area_ha"]]
        if not plot.treated:
            found.append(Applied(plot))
        elif plot.name in not_driven:
            problems += [f"--not-driven: {plot.name} was driven"] if times else []
        elif times:
            found.append(_by_board(plot, times, settings, know, plan.us))
        else:
            problems.append(f"{path}: plot {plot.name}: the board has no line of it: name it with "
                            "--not-driven")
    if problems:
        raise InputError(*problems)
    return found


def _by_board(plot: Plot, times: Sequence[dict[str, Any]], settings: Settings, know: Knowledge,
              us: bool) -> Applied:
    """The figures of a plot that are known without what went on within it."""
    whole = [row for row in times if row["how"] != CUT_SHORT
             and row["length_m"] >= WHOLE_SHARE * plot.length_m]
    row = (whole or times)[-1]
    width_m = sum(settings.widths_mm()) / 1000
    piece = {"length_m": row["length_m"], "area_ha": row["area_ha"], "volume_l": row["volume_l"],
             "time_s": max(row["time_s"], 1e-3), "cv_pct": None, "start_error_m": None,
             "end_error_m": None, "target_l_ha": row["asked_l_ha"]}
    measure = _measured(plot, piece, settings.as_dict(), width_m, know)
    figures = _known(piece, figures_of(measure, know))
    before_l = sum(one["volume_l"] for one in times if one is not row)
    flags = [*_flags(plot, piece, figures, us)]
    if not whole:
        treated, whole_length = (units.text("distance_mm", length_m, us)
                                 for length_m in (row["length_m"], plot.length_m))
        flags.append(f"only {treated} of {whole_length} were treated")
    if len(times) > 1:
        more = f"{units.shown('volume_ml', before_l * L_M3, us):.3g} {units.unit('volume_ml', us)}"
        flags.append(f"treated {len(times)} times: {more} more than is counted here")
    if row["faults"]:
        flags.append(f"meanwhile: {spoken(row['faults'].split())}")
    return Applied(plot, piece, figures, None, tuple(flags))


def _pieces(path: Path, plan: Plan, record: RunRecord, leave_out: Sequence[int],
            not_driven: Sequence[str]) -> dict[str, dict[str, Any]]:
    """The piece of the run on each plot, by the plot's name."""
    every = cut(record, true_run(record, record.about["section_width_m"]))
    names = {plot.name for plot in plan.plots}
    problems = [f"--not-driven: {name} is no plot of {path}"
                for name in not_driven if name not in names]
    problems += [f"--leave-out: the run has passes 1 to {len(every)}, not {number}"
                 for number in leave_out if not 1 <= number <= len(every)]
    driven = [one for number, one in enumerate(every, start=1) if number not in leave_out]
    wanted = [group for group in ([plot for plot in plots if plot.name not in not_driven]
                                  for plots in plan.passes()) if group]
    if not problems and len(driven) != len(wanted):
        problems.append(f"{path}: pass: the plan has {len(wanted)} passes, the run {len(driven)}: "
                        "name those that are none of the plan with --leave-out, and plots that "
                        "were not driven with --not-driven")
    pieces: dict[str, dict[str, Any]] = {}
    for one, plots in zip(driven, wanted, strict=False):
        problems += _misfits(path, one, plots, plan.us)
        for plot in plots:
            pieces[plot.name] = _piece(one, plot, alone=len(plots) == 1 and not plot.start_m)
    if problems:
        raise InputError(*problems)
    return pieces


def _misfits(path: Path, one: Pass, plots: Sequence[Plot], us: bool) -> Iterator[str]:
    """Whether a pass is as long as its plots."""
    planned_m = plots[-1].start_m + plots[-1].length_m
    if abs(one.length_m - planned_m) > max(LENGTH_M, LENGTH_SHARE * planned_m):
        planned, driven = (units.text("distance_mm", m, us) for m in (planned_m, one.length_m))
        yield (f"{path}: length: plot {plots[-1].name}: its pass ends after {planned} in the plan, "
               f"after {driven} in the run")


def _piece(one: Pass, plot: Plot, alone: bool) -> dict[str, Any]:
    """The figures of a plot: of the whole pass where it is alone, else of its piece of the way.

    An implement that went up ahead of the plot's end leaves it its ground, and the liquid there.
    """
    end_m = plot.start_m + plot.length_m
    whole = one.up_to(end_m)
    return whole.figures() if alone else whole.figures(plot.start_m, min(end_m, whole.length_m))


def _measured(plot: Plot, piece: dict[str, Any], settings: dict[str, Any], width_m: float,
              know: Knowledge) -> MeasuredPlot:
    """What was measured, with what the meter missed while its rotor came up.

    Where the implement came down before the plot, that was before it.
    """
    length_m = piece["length_m"]
    true_width_m = piece["area_ha"] * M2_HA / length_m if piece["area_ha"] else width_m
    missed_m3 = 0.0 if plot.start_m else know.missed_m3
    missed_m = missed_m3 / (plot.rate_m * true_width_m)
    return MeasuredPlot(
        volume_m3=max(piece["volume_l"], 1e-9) * L_M3 + missed_m3, length_m=length_m,
        width_m=true_width_m,
        time_s=piece["time_s"], wanted_m=plot.rate_m,
        pulses_per_m3=settings["meter_pulses_hl"] * PULSES_M3,
        pulses_per_m=settings["speed_pulses_km"] * PULSES_M,
        droop_m3_s=settings.get("meter_droop_ul_s", 0) * 1e-9,
        cv=(piece["cv_pct"] or 0.0) / 100, metres=np.floor(length_m / CELL_M),
        start_error_m=(piece["start_error_m"] or 0.0) + missed_m,
        end_error_m=piece["end_error_m"] or 0.0, edge_m=edge_m(length_m))


def _known(piece: dict[str, Any], figures: dict[str, Figure]) -> dict[str, Figure]:
    """Without the figures that so short a piece does not have."""
    return {name: figure for name, figure in figures.items()
            if name not in OF_PIECE or piece[OF_PIECE[name]] is not None}


def _flags(plot: Plot, piece: dict[str, Any], figures: dict[str, Figure], us: bool
           ) -> Iterator[str]:
    """What a reader must see: how far it was off, and another rate than the plan's."""
    off_pct = abs(100 * figures["deviation"].value)
    over = [limit for limit in FLAG_PCT if off_pct > limit]
    if over:
        yield f"more than {over[-1]:g} % off"
    asked = piece["target_l_ha"]
    if asked is not None and abs(asked * L_HA_M / plot.rate_m - 1) > RATE_SHARE:
        yield f"{units.text('rate_ml_ha', asked * L_HA_M, us)} was asked for in the run"
