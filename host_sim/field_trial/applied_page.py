"""What was applied, as one page: the field, the plots, the treatments, the analysis, the budget."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from host_sim.field_trial import applied_tables as tables
from host_sim.field_trial.applied import Applied
from host_sim.field_trial.drawing import NOTHING, draw
from host_sim.field_trial.plan import Plan
from host_sim.report.palette import PALETTE
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.runs.passes import EDGE_M

HERE = Path(__file__).resolve().parent
CSS = HERE.parent / "report" / "page.css"
SHOWN = ("mean_rate", "deviation", "cv", "volume", "start_error", "end_error")
DIGITS = {"deviation": 1, "cv": 1, "mean_rate": 1, "volume": 3, "start_error": 2, "end_error": 2}


def render(title: str, plan: Plan, plots: Sequence[Applied], us: bool, simulated: bool) -> str:
    """The page as HTML, without any other file."""
    environment = Environment(loader=FileSystemLoader(HERE), autoescape=True,
                              undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.get_template("applied.html.j2").render(
        title=title, plan=plan, simulated=simulated, edge_m=EDGE_M,
        map=_map(plan, plots, us),
        units={name: tables.unit_of(name, us)[0] for name in SHOWN},
        rows=[_row(one, us) for one in plots],
        treatments=list(tables.treatment_rows(plan, plots, us)),
        analyses=tables.analyses(plan, plots, us),
        budget=budget_in_words(plots, us),
        classes=[(colour, words) for _, colour, words in RATE_CLASSES],
        palette=PALETTE, css=CSS.read_text(encoding="utf-8"))


def classes(plots: Sequence[Applied]) -> tuple[dict[str, str], dict[str, str]]:
    """Colour of each plot by how far it was off, and that in words, by name."""
    colours, lines = {}, {}
    for one in plots:
        colours[one.plot.name] = NOTHING
        if one.figures:
            share = float(one.figures["deviation"].value)
            colours[one.plot.name] = next(colour for most, colour, _ in RATE_CLASSES
                                          if 1 + share <= most)
            lines[one.plot.name] = f"{100 * share:+.1f} %"
    return colours, lines


def _map(plan: Plan, plots: Sequence[Applied], us: bool) -> str:
    """The field as a picture within the page; empty where nobody knows where the plots lie."""
    if not all(plot.box for plot in plan.plots):
        return ""
    target = io.BytesIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "applied"}):
        draw(plan, us, *classes(plots), title="mean rate of each plot against that of the plan"
             ).savefig(target, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(target.getvalue()).decode()


def _row(one: Applied, us: bool) -> dict[str, Any]:
    cells = {}
    for name in SHOWN:
        if name in one.figures:
            figure, (_, factor) = one.figures[name], tables.unit_of(name, us)
            digits = DIGITS[name]
            cells[name] = (f"{float(figure.value * factor):.{digits}f} \u00b1 "
                           f"{float(figure.half_width * factor):.{digits}f}")
    return {"plot": one.plot, "cells": cells, "flags": "; ".join(one.flags)}


def budget_in_words(plots: Sequence[Applied], us: bool) -> dict[str, list[tuple[str, str, str]]]:
    """For each figure its sources, the median over plots of what each adds, and its unit."""
    found: dict[str, dict[str, list[float]]] = {}
    for row in tables.budget_rows(plots, us):
        found.setdefault(row["figure"], {}).setdefault(row["source"], []).append(
            row["standard_uncertainty"])
    return {figure: [(source, f"{sorted(parts)[len(parts) // 2]:.3g}",
                      tables.unit_of(figure, us)[0])
                     for source, parts in sources.items()] for figure, sources in found.items()}
