"""What was applied, as a short text for the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from host_sim.field_trial.applied import Applied
from host_sim.field_trial.applied_tables import analyses, treatment_rows
from host_sim.field_trial.plan import Plan


def lines(plan: Plan, plots: Sequence[Applied], us: bool) -> Iterator[str]:
    """Treatments, analysis of the deviations, and the plots that a reader must see."""
    yield f"{'treatment':<20} {'plots':>5} {'wanted':>8} {'mean':>8} {'+-95 %':>7} {'off by':>7}"
    for row in treatment_rows(plan, plots, us):
        head = f"{row['treatment']:<20} {row['plots']:>5} {row['wanted_rate']:>8.1f}"
        if row["mean_rate"] is None:
            yield head
            continue
        yield (f"{head} {row['mean_rate']:>8.1f} {row['half_width_95']:>7.1f} "
               f"{row['deviation_pct']:>+6.1f} %")
    for line in analyses(plan, plots, us).get("deviation", []):
        if line.f is not None:
            yield (f"deviation by {line.source}: F({line.df}) = {line.f:.2f}, p = {line.p:.3g}")
    flagged = [one for one in plots if one.flags]
    for one in flagged:
        yield f"plot {one.plot.name}: {'; '.join(one.flags)}"
    if not flagged:
        yield "no plot is flagged"
