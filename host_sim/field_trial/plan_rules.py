"""What must hold between the plots of a plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from host_sim.common import units
from host_sim.field_trial.plan import Plot
from host_sim.twin.scenario_events import ML_HA_PER_M
from rate_control.settings import HIGH, LOW, row

Problem = tuple[Plot, str, str]  # plot, column, words
LENGTH_M = (0.5, 10_000.0)
WIDTH_M = (0.05, 100.0)
PLACE_M = 100_000.0  # from the origin of the field
TOUCH_M = 0.001  # plots may touch


def problems_of(plots: Sequence[Plot]) -> list[Problem]:
    """Everything that is wrong with the plots, which are sorted by their order."""
    return [problem for rule in (_ranges, _names, _order, _treatments, _passes, _overlaps)
            for problem in rule(plots)]


def _ranges(plots: Sequence[Plot]) -> Iterator[Problem]:
    low, high = row("rate_ml_ha")[LOW], row("rate_ml_ha")[HIGH]
    for plot in plots:
        rate_ml_ha = round(plot.rate_m * ML_HA_PER_M)
        if plot.rate_m and not low <= rate_ml_ha <= high:
            least, most = (units.text("rate_ml_ha", value / ML_HA_PER_M, False)
                           for value in (low, high))
            yield plot, "rate", f"must be 0, for a plot that gets nothing, or {least} to {most}"
        for column, value, (least_m, most_m) in (
            ("length", plot.length_m, LENGTH_M), ("width", plot.width_m, WIDTH_M),
            ("start", plot.start_m, (0.0, LENGTH_M[1])),
            ("x", plot.x_m, (-PLACE_M, PLACE_M)), ("y", plot.y_m, (-PLACE_M, PLACE_M)),
        ):
            if value is not None and not least_m <= value <= most_m:
                yield plot, column, f"must be {least_m:g} m to {most_m:g} m, is {value:g} m"


def _names(plots: Sequence[Plot]) -> Iterator[Problem]:
    seen: dict[str, Plot] = {}
    for plot in plots:
        if seen.setdefault(plot.name.lower(), plot) is not plot:
            yield plot, "plot", f"{plot.name} is there twice"
        if bool(plot.whole_plot) != bool(plots[0].whole_plot):
            yield plot, "whole_plot", "is given for some plots only"
        if bool(plot.block) != bool(plots[0].block):
            yield plot, "block", "is given for some plots only"


def _order(plots: Sequence[Plot]) -> Iterator[Problem]:
    for expected, plot in enumerate(plots, start=1):
        if plot.order != expected:
            yield plot, "order", (f"must count the plots from 1 to {len(plots)}, each once: "
                                  f"{expected} is missing")
            return


def _treatments(plots: Sequence[Plot]) -> Iterator[Problem]:
    first: dict[str, Plot] = {}
    for plot in plots:
        known = first.setdefault(plot.treatment, plot)
        if abs(known.rate_m - plot.rate_m) * ML_HA_PER_M >= 1:
            yield plot, "rate", (f"treatment {plot.treatment} has another rate in plot "
                                 f"{known.name}; one treatment has one rate")


def _passes(plots: Sequence[Plot]) -> Iterator[Problem]:
    """Passes count from 1 on along the order, and their plots follow each other."""
    number, before = 0, None
    for plot in plots:
        if not plot.treated:
            if plot.number:
                yield plot, "pass", "must be empty for a plot that gets nothing: it is not treated"
            before = None
            continue
        if plot.number == number and before is None and number:
            yield plot, "pass", f"pass {number} is interrupted: a plot before it gets nothing"
        elif plot.number == number and before is not None:
            if plot.start_m < before.start_m + before.length_m - TOUCH_M:
                yield plot, "start", (f"begins before plot {before.name} of the same pass ends, at "
                                      f"{before.start_m + before.length_m:g} m")
        elif plot.number != number + 1:
            either = f"{number} or {number + 1}" if number else "1"
            yield plot, "pass", (f"must be {either} here, for passes count as they are driven; "
                                 f"is {plot.number}")
            return
        number, before = plot.number, plot


def _overlaps(plots: Sequence[Plot]) -> Iterator[Problem]:
    """Plots whose places on the field are known must not lie on each other."""
    boxes = sorted(((plot.box, plot) for plot in plots if plot.box), key=lambda one: one[0][0])
    for index, (box, plot) in enumerate(boxes):
        for other_box, other in _near(boxes[index + 1 :], box[2]):
            if other_box[1] < box[3] - TOUCH_M and box[1] < other_box[3] - TOUCH_M:
                yield other, "x", f"lies on plot {plot.name}"


def _near(boxes: Iterable[tuple[tuple[float, ...], Plot]], right_m: float
          ) -> Iterator[tuple[tuple[float, ...], Plot]]:
    """Those that begin left of a place; they are sorted by where they begin."""
    for box, plot in boxes:
        if box[0] >= right_m - TOUCH_M:
            return
        yield box, plot
