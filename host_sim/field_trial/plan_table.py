"""A plan as a table: written for a file, and summed up for a person."""

from __future__ import annotations

from collections.abc import Iterable

from host_sim.common import units
from host_sim.common.data_package import INTEGER, NUMBER, TEXT, Column, Table
from host_sim.field_trial.plan import Plan
from host_sim.field_trial.plan_file import (
    AMOUNTS,
    COUNTS,
    HEADING,
    LABELS,
    TEXTS,
    known_columns,
)


def table_of(plan: Plan) -> Table:
    """The table of a plan: the columns that this one needs."""
    rate, length = ("gal_ac", "ft") if plan.us else ("l_ha", "m")
    columns = (
        ("name", Column("plot", TEXT, "name of the plot")),
        ("block", Column("block", TEXT, "block that it lies in", needed=False)),
        ("treatment", Column("treatment", TEXT, "what it gets")),
        ("whole_plot", Column("whole_plot", TEXT, "whole plot that it is a part of", needed=False)),
        ("whole_treatment", Column("whole_treatment", TEXT, "treatment of the whole plot",
                                   needed=False)),
        ("sub_treatment", Column("sub_treatment", TEXT, "treatment within the whole plot",
                                 needed=False)),
        ("rate_m", Column(f"rate_{rate}", NUMBER, f"application rate, {LABELS[rate]}")),
        ("length_m", Column(f"length_{length}", NUMBER, "length along the way")),
        ("number", Column("pass", INTEGER, "pass in which it is treated, from 1 on; empty where it "
                          "gets nothing", needed=False)),
        ("order", Column("order", INTEGER, "place in the order of driving, from 1 on")),
        ("start_m", Column(f"start_{length}", NUMBER, "where in its pass it begins")),
        ("width_m", Column(f"width_{length}", NUMBER, "width across the way", needed=False)),
        ("row", Column("row", INTEGER, "place along the first pass, from 1 on", needed=False)),
        ("column", Column("column", INTEGER, "place across it, from 1 on", needed=False)),
        ("x_m", Column(f"x_{length}", NUMBER, "across: middle of the side where it is entered",
                       needed=False)),
        ("y_m", Column(f"y_{length}", NUMBER, "along: the same side", needed=False)),
        (HEADING, Column(HEADING, NUMBER, "way through it: 0 along y, 180 against it",
                         needed=False)),
    )
    kept = [(name, column) for name, column in columns if column.needed
            or any(getattr(plot, name) not in (None, "", 0) for plot in plan.plots)]
    return Table("plan", "A row for each plot of the trial, in the order of driving.",
                 tuple(column for _, column in kept), key=("plot",))


def plan_csv(plan: Plan) -> str:
    """The text of the file of a plan."""
    table = table_of(plan)
    known = known_columns()
    attributes = {**TEXTS, **COUNTS, HEADING: HEADING,
                  **{key: attribute for key, (attribute, _) in AMOUNTS.items()}}
    return table.csv(
        {column.name: _written(column.name, getattr(plot, attributes[known[column.name]]))
         for column in table.columns} for plot in plan.plots)


def _written(column: str, value: str | int | float | None) -> str | int | float | None:
    """A value as it stands in a column."""
    if column == "pass" and value == 0:
        return None
    for ending, us in (("l_ha", False), ("gal_ac", True)):
        if column.endswith(ending) and isinstance(value, float):
            return units.shown("rate_ml_ha", value, us)
    if column.endswith("_ft") and isinstance(value, float):
        return units.shown("distance_mm", value, True)
    return value or None if isinstance(value, str) else value


def summary(plan: Plan) -> Iterable[tuple[str, str]]:
    """What a plan holds, a word and its text a line."""
    counts = {name: sum(plot.treatment == name for plot in plan.plots) for name in plan.treatments}
    yield "design", plan.design()
    yield "plots", str(len(plan.plots))
    if plan.blocks:
        yield "blocks", f"{len(plan.blocks)}: {', '.join(plan.blocks)}"
    yield "passes", str(len(list(plan.passes())))
    for name, count in counts.items():
        rate = units.text("rate_ml_ha", plan.rate_m(name), plan.us)
        yield f"treatment {name}", f"{rate} on {count} plot{'s' if count > 1 else ''}"
