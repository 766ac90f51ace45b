"""The plan of a field trial: which plot gets which rate, and in which order it is driven.

docs/reference/plans.md describes the file. A pass is, as everywhere, the way from the implement's
coming down to its lift; a plot lies in one pass, and a pass holds one plot or several.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

MOST_PLOTS = 500


@dataclass(frozen=True)
class Plot:
    """One plot. Lengths in m, the rate as a depth of liquid in m (1 L/ha is 1e-7 m).

    `order` counts the plots as they are driven, from 1 on. `number` is that of its pass, 0 for a
    plot that gets nothing; `start_m` is where in the pass the plot begins. `row` counts plots along
    the way of the first pass and `column` across it. `x_m`, `y_m` is the middle of the side at
    which it is entered, in a plane with y along the first pass; heading 0 is along y, 180 against
    it.
    """

    name: str
    treatment: str
    rate_m: float
    length_m: float
    order: int
    number: int = 0
    start_m: float = 0.0
    block: str = ""
    width_m: float | None = None
    row: int | None = None
    column: int | None = None
    x_m: float | None = None
    y_m: float | None = None
    heading_deg: float | None = None
    whole_plot: str = ""
    whole_treatment: str = ""
    sub_treatment: str = ""

    @property
    def treated(self) -> bool:
        return self.rate_m > 0

    @property
    def box(self) -> tuple[float, float, float, float] | None:
        """Left, bottom, right and top in m, None where it is not known."""
        if self.x_m is None or self.y_m is None or self.width_m is None:
            return None
        if self.heading_deg not in (0.0, 180.0):
            return None
        bottom = self.y_m if self.heading_deg == 0.0 else self.y_m - self.length_m
        return (self.x_m - self.width_m / 2, bottom,
                self.x_m + self.width_m / 2, bottom + self.length_m)


@dataclass(frozen=True)
class Plan:
    """All plots, in the order in which they are driven. `us` says how its rates were written."""

    plots: tuple[Plot, ...]
    us: bool = False

    @property
    def treatments(self) -> list[str]:
        """Names of the treatments, sorted."""
        return sorted({plot.treatment for plot in self.plots})

    @property
    def blocks(self) -> list[str]:
        return list(dict.fromkeys(plot.block for plot in self.plots if plot.block))

    def rate_m(self, treatment: str) -> float:
        """The rate of a treatment."""
        return next(plot.rate_m for plot in self.plots if plot.treatment == treatment)

    def passes(self) -> Iterator[list[Plot]]:
        """The plots of each pass, in the order of driving."""
        numbers = dict.fromkeys(plot.number for plot in self.plots if plot.treated)
        for number in numbers:
            yield [plot for plot in self.plots if plot.treated and plot.number == number]

    def design(self) -> str:
        """What the plots are as an experiment, by how treatments lie in blocks and rows."""
        if any(plot.whole_plot for plot in self.plots):
            return SPLIT_PLOT
        if self.blocks:
            return BLOCKS
        if self._is_square():
            return LATIN_SQUARE
        return COMPLETELY_RANDOMISED

    def _is_square(self) -> bool:
        """Whether every treatment is once in each row and once in each column."""
        count = len(self.treatments)
        places = {(line, plot.treatment, getattr(plot, line))
                  for plot in self.plots for line in ("row", "column")}
        known = all(plot.row is not None and plot.column is not None for plot in self.plots)
        return known and count > 1 and len(self.plots) == count**2 and len(places) == 2 * count**2


COMPLETELY_RANDOMISED, BLOCKS = "completely randomised", "randomised complete blocks"
LATIN_SQUARE, SPLIT_PLOT = "Latin square", "split plot"
