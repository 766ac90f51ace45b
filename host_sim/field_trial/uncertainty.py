"""How well the figures of a plot are known, by JCGM 100:2008 (GUM).

Each source has a standard uncertainty; what it does to a figure is its share of the budget. Shares
add up as squares (GUM 5.1.2); the interval is that of Student's t with the effective degrees of
freedom of Welch and Satterthwaite (GUM G.4.1). Formulae work on arrays, too, for the check of
host_sim/field_trial/coverage.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

LEVEL = 0.95
TRIANGLE = 6**-0.5  # standard uncertainty of a count at two ends, each half a pulse off at most
COMMON = ("meter", "speed sensor", "width", "droop")  # the same for every plot of a trial

Number = Any  # a float, or an array of them


@dataclass(frozen=True)
class Knowledge:
    """Standard uncertainties: shares, and SI where a unit is in the name.

    `meter` and `speed` are of the constants that were found in so many runs; `slip` is how slip
    varies from plot to plot; `start_m3` is what the meter counts at one end of a plot and the plot
    does not get; `edge_s` is when the liquid begins and ends against the switch; `metre` is the
    noise of the measured rate of a single metre. `missed_m3` is no uncertainty but a correction:
    what the meter does not count, on average, of a start from rest.
    """

    meter: float = 0.005
    meter_runs: float = 5
    speed: float = 0.005
    speed_runs: float = 4
    width_m: float = 0.01
    droop_m3_s: float = 0.0
    slip: float = 0.005
    start_m3: float = 3e-6
    edge_s: float = 0.05
    metre: float = 0.01
    missed_m3: float = 0.0


@dataclass(frozen=True)
class MeasuredPlot:
    """What was measured on a plot, in SI; the errors are the excess at an end as metres of it.

    `edge_m` is how long an end is, `metres` how many whole metres there are.
    """

    volume_m3: Number
    length_m: Number
    width_m: Number
    time_s: Number
    wanted_m: Number
    pulses_per_m3: Number
    pulses_per_m: Number
    droop_m3_s: Number
    cv: Number
    metres: Number
    start_error_m: Number
    end_error_m: Number
    edge_m: Number

    @property
    def rate_m(self) -> Number:
        return self.volume_m3 / (self.length_m * self.width_m)


@dataclass(frozen=True)
class Figure:
    """A value, its parts (standard uncertainties by source), and half of its 95 % interval."""

    value: Number
    parts: dict[str, Number]
    freedom: Number

    @property
    def standard(self) -> Number:
        """The combined standard uncertainty."""
        return np.sqrt(sum(part**2 for part in self.parts.values()))

    @property
    def half_width(self) -> Number:
        """Half of the interval."""
        return stats.t.ppf(0.5 + LEVEL / 2, self.freedom) * self.standard

    def only(self, common: bool) -> Number:
        """The standard uncertainty from sources that all plots share, or from those of each."""
        return np.sqrt(sum((part**2 for name, part in self.parts.items()
                            if (name in COMMON) == common), 0.0))


def _figure(value: Number, parts: dict[str, Number], know: Knowledge) -> Figure:
    """With the effective degrees of freedom: calibrations have few, everything else many."""
    total = sum(part**2 for part in parts.values())
    runs_of = {"meter": know.meter_runs, "speed sensor": know.speed_runs}
    few = sum((parts[name] ** 4 / (runs - 1) for name, runs in runs_of.items() if name in parts),
              0.0)
    freedom = np.divide(total**2, few, out=np.full(np.shape(total), 1e9), where=np.asarray(few) > 0)
    return Figure(value, parts, freedom)


def figures_of(plot: MeasuredPlot, know: Knowledge) -> dict[str, Figure]:
    """Every figure of a plot by name; rates in m, volumes in m3, deviation and CV as shares."""
    flow = plot.volume_m3 / plot.time_s
    of_volume = {
        "meter": know.meter,
        "droop": 2 * plot.droop_m3_s * know.droop_m3_s / (flow**2 + plot.droop_m3_s**2),
        "counting liquid": TRIANGLE / (plot.volume_m3 * plot.pulses_per_m3),
        "start and end": np.sqrt(2) * know.start_m3 / plot.volume_m3,
    }
    of_area = {
        "speed sensor": know.speed,
        "width": know.width_m / plot.width_m,
        "slip": know.slip,
        "counting way": TRIANGLE / (plot.length_m * plot.pulses_per_m),
    }
    rate = plot.rate_m
    relative = of_volume | of_area
    share = rate / plot.wanted_m
    return {
        "mean_rate": _figure(rate, _times(relative, rate), know),
        "deviation": _figure(share - 1, _times(relative, share), know),
        "volume": _figure(plot.volume_m3, _times(of_volume, plot.volume_m3), know),
        "cv": _variation(plot, know),
        "start_error": _edge(plot, plot.start_error_m, relative, know),
        "end_error": _edge(plot, plot.end_error_m, relative, know),
    }


def _times(relative: dict[str, Number], value: Number) -> dict[str, Number]:
    return {name: part * value for name, part in relative.items()}


def _edge(plot: MeasuredPlot, error_m: Number, relative: dict[str, Number],
          know: Knowledge) -> Figure:
    """Of an end: what scales with the liquid there, and what comes once."""
    per_m = plot.wanted_m * plot.width_m  # m3 on a metre of the plot
    parts = {name: (plot.edge_m + error_m) * relative[name]
             for name in (*COMMON, "slip")}
    parts |= {
        "counting liquid": TRIANGLE / (plot.pulses_per_m3 * per_m),
        "counting way": TRIANGLE / plot.pulses_per_m,
        "start and end": know.start_m3 / per_m,
        "moment": know.edge_s * plot.length_m / plot.time_s,
    }
    return _figure(error_m, parts, know)


def _variation(plot: MeasuredPlot, know: Knowledge) -> Figure:
    """The CV of the plot itself: that which was measured without the noise of its metres.

    Of n metres with noise m, the squares measured are those of the plot and m^2 together, and vary
    by (4 c^2 m^2 + 2 m^4) / (n - 1), as sums of squares of normal deviates do.
    """
    own = np.sqrt(np.maximum(plot.cv**2 - know.metre**2, 0.0))
    varies = np.sqrt((4 * own**2 * know.metre**2 + 2 * know.metre**4)
                     / np.maximum(plot.metres - 1, 1))
    root = varies / np.maximum(2 * own, np.sqrt(varies))
    return Figure(own, {"noise of a metre": root}, np.full(np.shape(root), 1e9))
