"""Puts the units of a design onto the ground and into the order of driving.

The machine drives up the first column, down the second, and so on: a serpentine. Along the way
plots are parted by alleys, in which rates change and the implement is up; across it by buffers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from host_sim.field_trial.designs import Unit
from host_sim.field_trial.plan import Plan, Plot

ALLEY, HEADLAND = "alley", "headland"  # where the implement is lifted
LIFTS = (ALLEY, HEADLAND)


@dataclass(frozen=True)
class TrialGround:
    """Sizes in m: of a plot, of the alley along and of the buffer across.

    `lift` says where the implement is lifted: in every alley, so that each plot is a pass, or only
    on the headland, so that a column is one and its alleys are treated with it. `run_up_m` is how
    far before the first plot of a pass the implement comes down.
    """

    length_m: float
    width_m: float
    alley_m: float
    buffer_m: float = 0.0
    lift: str = ALLEY
    run_up_m: float = 0.0


def lay_out(units: Sequence[Unit], rates_m: Mapping[str, float], ground: TrialGround,
            us: bool) -> Plan:
    """The plan of a design. `rates_m` are by treatment, or by that of the whole plot.

    A plot's name has its row before two digits (three beyond 99 columns) of its column.
    """
    rows = 1 + max(unit.row for unit in units)
    digits = 3 if max(unit.column for unit in units) >= 99 else 2
    ordered = sorted(units, key=lambda unit: (
        unit.column, unit.row if unit.column % 2 == 0 else -unit.row))
    plots: list[Plot] = []
    passes, inside = 0, None  # number of the last pass, and the column that is still in it
    for order, unit in enumerate(ordered, start=1):
        up = unit.column % 2 == 0
        rate_m = rates_m[unit.whole_treatment if unit.whole_treatment in rates_m
                         else unit.treatment]
        if rate_m and (ground.lift == ALLEY or inside != unit.column):
            passes, first = passes + 1, _along(unit, rows, up)
        inside = unit.column if rate_m else None
        steps = _along(unit, rows, up) - first if rate_m else 0
        bottom_m = unit.row * (ground.length_m + ground.alley_m)
        plots.append(Plot(
            name=f"{unit.row + 1}{unit.column + 1:0{digits}}",
            treatment=f"{unit.whole_treatment} {unit.treatment}".strip(),
            rate_m=rate_m, length_m=ground.length_m, order=order,
            number=passes if rate_m else 0,
            start_m=(ground.run_up_m if rate_m else 0.0)
            + steps * (ground.length_m + ground.alley_m),
            block=unit.block, width_m=ground.width_m, row=unit.row + 1, column=unit.column + 1,
            x_m=unit.column * (ground.width_m + ground.buffer_m) + ground.width_m / 2,
            y_m=bottom_m if up else bottom_m + ground.length_m, heading_deg=0.0 if up else 180.0,
            whole_plot=unit.whole_plot, whole_treatment=unit.whole_treatment,
            sub_treatment=unit.treatment if unit.whole_plot else ""))
    return Plan(tuple(plots), us)


def _along(unit: Unit, rows: int, up: bool) -> int:
    """How many plots of its column are driven before this one."""
    return unit.row if up else rows - 1 - unit.row
