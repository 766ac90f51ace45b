"""The tables of what was applied: long ones for programs, short ones for a person and a paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from host_sim.common import units
from host_sim.common.data_package import (
    INTEGER,
    NUMBER,
    TEXT,
    Column,
    Table,
    package_files,
)
from host_sim.field_trial.anova import Line, anova
from host_sim.field_trial.applied import Applied
from host_sim.field_trial.plan import BLOCKS, LATIN_SQUARE, SPLIT_PLOT, Plan
from host_sim.field_trial.uncertainty import COMMON
from host_sim.runs.judged import M2_HA

NAME = "as-applied"
# Figure: quantity of its unit, and what one in SI is of the quantity; percent have none.
FIGURES = {"mean_rate": "rate_ml_ha", "deviation": "", "volume": "volume_ml", "cv": "",
           "start_error": "distance_mm", "end_error": "distance_mm"}
MEANINGS = ("wanted_rate: rate of the plan; mean_rate: volume over area; deviation: mean against "
            "wanted; volume: liquid on the plot; cv: variation from metre to metre; start_error, "
            "end_error: liquid too much (+) or missing (-) at an end, as metres of the plot; "
            "area; true_mean_rate: of a simulated run, what nobody knows of a real one")

_PLOT = (
    Column("plot", TEXT, "name of the plot"),
    Column("block", TEXT, "block", needed=False),
    Column("row", INTEGER, "place along the first pass", needed=False),
    Column("column", INTEGER, "place across it", needed=False),
    Column("whole_plot", TEXT, "whole plot of a split plot", needed=False),
    Column("whole_treatment", TEXT, "treatment of the whole plot", needed=False),
    Column("sub_treatment", TEXT, "treatment within it", needed=False),
    Column("treatment", TEXT, "what the plot was to get"),
    Column("order", INTEGER, "place in the order of driving"),
)
APPLIED = Table("as-applied", "A row for each figure of each plot: long format.", (
    *_PLOT,
    Column("figure", TEXT, MEANINGS),
    Column("unit", TEXT, "of value and uncertainties"),
    Column("value", NUMBER, "the figure", needed=False),
    Column("standard_uncertainty", NUMBER, "combined, by JCGM 100:2008", needed=False),
    Column("half_width_95", NUMBER, "half of the interval that covers with 95 %", needed=False),
    Column("flags", TEXT, "what a reader must see, parted by semicolons", needed=False),
), key=("plot", "figure"))
BUDGET = Table("budget", "A row for each source of uncertainty of each figure of each plot.", (
    Column("plot", TEXT, "name of the plot"),
    Column("figure", TEXT, "as in the table as-applied"),
    Column("source", TEXT, "what is not known exactly"),
    Column("shared", TEXT, "whether it is the same for all plots, so that it cancels between them",
           choices=("yes", "no")),
    Column("unit", TEXT, "of the uncertainty"),
    Column("standard_uncertainty", NUMBER, "what it adds to that of the figure"),
), key=("plot", "figure", "source"))
ANOVA = Table("anova", "Analyses of variance of the mean rates and of their deviations.", (
    Column("of", TEXT, "figure that is analysed"),
    Column("stratum", TEXT, "units between which the term varies"),
    Column("source", TEXT, "term, or residual"),
    Column("df", INTEGER, "degrees of freedom"),
    Column("sum_sq", NUMBER, "sum of squares"),
    Column("mean_sq", NUMBER, "mean square", needed=False),
    Column("f", NUMBER, "against the residual of the stratum", needed=False),
    Column("p", NUMBER, "chance of so large an f without an effect", needed=False),
), key=("of", "stratum", "source"))
TREATMENTS = Table("treatments", "A row for each treatment: the table for a paper.", (
    Column("treatment", TEXT, "what the plots were to get"),
    Column("plots", INTEGER, "how many were treated"),
    Column("unit", TEXT, "of the rates"),
    Column("wanted_rate", NUMBER, "rate of the plan"),
    Column("mean_rate", NUMBER, "mean over the plots", needed=False),
    Column("sd", NUMBER, "standard deviation between the plots", needed=False),
    Column("half_width_95", NUMBER, "half of the interval of the mean that covers with 95 %",
           needed=False),
    Column("deviation_pct", NUMBER, "mean against wanted", needed=False),
), key=("treatment",))


def unit_of(figure: str, us: bool) -> tuple[str, float]:
    """Label of a figure's unit, and how many of it one in SI is."""
    quantity = FIGURES.get(figure, "rate_ml_ha" if figure.endswith("rate") else "area_m2")
    if not quantity:
        return "%", 100.0
    return units.unit(quantity, us), units.shown(quantity, 1.0, us)


def long_rows(plots: Sequence[Applied], us: bool) -> Iterator[dict[str, Any]]:
    """The rows of APPLIED."""
    for one in plots:
        plot = one.plot
        head = {column.name: getattr(plot, column.name if column.name != "plot" else "name") or None
                for column in _PLOT}
        values: list[tuple[str, float | None, Any]] = [("wanted_rate", plot.rate_m, None)]
        values += [(name, figure.value, figure) for name, figure in one.figures.items()]
        if one.piece:
            values.append(("area", one.piece["area_ha"] * M2_HA, None))
        if one.truth_m is not None:
            values.append(("true_mean_rate", one.truth_m, None))
        for name, value, figure in values:
            label, factor = unit_of(name, us)
            yield head | {
                "figure": name, "unit": label,
                "value": None if value is None else float(value * factor),
                "standard_uncertainty": figure and float(figure.standard * factor),
                "half_width_95": figure and float(figure.half_width * factor),
                "flags": "; ".join(one.flags) or None}


def budget_rows(plots: Sequence[Applied], us: bool) -> Iterator[dict[str, Any]]:
    """The rows of BUDGET."""
    for one in plots:
        for name, figure in one.figures.items():
            label, factor = unit_of(name, us)
            for source, part in figure.parts.items():
                yield {"plot": one.plot.name, "figure": name, "source": source, "unit": label,
                       "shared": "yes" if source in COMMON else "no",
                       "standard_uncertainty": float(abs(part) * factor)}


def treatment_rows(plan: Plan, plots: Sequence[Applied], us: bool) -> Iterator[dict[str, Any]]:
    """The rows of TREATMENTS. What all plots share does not get less with their number."""
    label, factor = unit_of("mean_rate", us)
    for name in plan.treatments:
        rates = [one.figures["mean_rate"] for one in plots
                 if one.plot.treatment == name and one.figures]
        row: dict[str, Any] = dict.fromkeys(column.name for column in TREATMENTS.columns)
        wanted = plan.rate_m(name)
        row |= {"treatment": name, "plots": len(rates), "unit": label,
                "wanted_rate": wanted * factor}
        if rates:
            values = np.array([rate.value for rate in rates])
            mean = float(values.mean())
            common = np.mean([rate.only(common=True) for rate in rates])
            each = np.mean([rate.only(common=False) ** 2 for rate in rates]) / len(rates)
            reach = rates[0].half_width / rates[0].standard
            row |= {"mean_rate": mean * factor, "deviation_pct": 100 * (mean / wanted - 1),
                    "sd": float(values.std(ddof=1)) * factor if len(rates) > 1 else None,
                    "half_width_95": float(reach * np.sqrt(common**2 + each) * factor)}
        yield row


def analyses(plan: Plan, plots: Sequence[Applied], us: bool) -> dict[str, list[Line]]:
    """The analyses of variance of the plots that were treated, by figure; none of a single one."""
    treated = [one for one in plots if one.figures]
    if len({one.plot.treatment for one in treated}) < 2:
        return {}
    terms, strata = _model(plan.design(), [one.plot for one in treated])
    found = {}
    for figure in ("mean_rate", "deviation"):
        _, factor = unit_of(figure, us)
        values = [float(one.figures[figure].value) * factor for one in treated]
        found[figure] = anova(values, terms, strata)
    return found


def _model(design: str, plots: Sequence[Any]) -> tuple[list[Any], list[Any]]:
    """Terms and error strata of a design."""
    def labels(name: str) -> list[Any]:
        return [getattr(plot, name) for plot in plots]

    treatment = ("treatment", labels("treatment"))
    if design == SPLIT_PLOT:
        return ([("whole treatment", labels("whole_treatment")),
                 ("sub treatment", labels("sub_treatment")), ("whole x sub", labels("treatment"))],
                [("block", labels("block")), ("whole plot", labels("whole_plot"))])
    if design == LATIN_SQUARE:
        return [("row", labels("row")), ("column", labels("column")), treatment], []
    return [*([("block", labels("block"))] if design == BLOCKS else []), treatment], []


def anova_rows(found: dict[str, list[Line]]) -> Iterator[dict[str, Any]]:
    """The rows of ANOVA."""
    for figure, lines in found.items():
        for line in lines:
            yield {"of": figure, **{column.name: getattr(line, column.name)
                                    for column in ANOVA.columns[1:]}}


def applied_files(title: str, plan: Plan, plots: Sequence[Applied], us: bool) -> dict[str, str]:
    """Texts of all tables and of their descriptor, by file name."""
    return package_files(NAME, title, {
        APPLIED: long_rows(plots, us),
        TREATMENTS: treatment_rows(plan, plots, us),
        ANOVA: anova_rows(analyses(plan, plots, us)),
        BUDGET: budget_rows(plots, us),
    })
