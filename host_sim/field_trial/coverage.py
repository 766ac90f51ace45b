"""Whether the intervals cover: plots with a hidden truth, measured with all that goes wrong.

    python -m host_sim.field_trial.coverage [PLOTS] [SEED]

Nothing here uses the formulae of uncertainty.py: a truth is drawn for each plot, pulses are counted
from it, and only what a controller would know goes into `figures_of`.
"""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np
from numpy.typing import NDArray

from host_sim.common.arguments import count
from host_sim.field_trial.uncertainty import Knowledge, MeasuredPlot, figures_of

PLOTS = 200_000
METRES, EDGE_M = 12, 2
WIDTH_M, SPEED_M_S = 3.0, 1.5
PULSES_M3, PULSES_M = 450e3, 130.0
# Such that every source matters: what is forgotten has to show.
DROOP_M3_S, METER_SCATTER, SPEED_SCATTER = 8e-6, 0.02, 0.018
CV, EXCESS_M = 0.04, 0.3  # of the plots, and how much their ends are off
AROUND = Knowledge(meter_runs=6, speed_runs=5, width_m=0.024, droop_m3_s=1.2e-6, slip=0.009,
                   start_m3=1.8e-6, edge_s=0.04, metre=0.02)

Vector = NDArray[np.float64]


def covered(plots: int, seed: int) -> dict[str, float]:
    """Share of the plots whose truth lies in the interval, for each figure."""
    truth, measured, know = _drawn(plots, np.random.default_rng(seed))
    figures = figures_of(measured, know)
    return {name: float(np.mean(np.abs(figures[name].value - truth[name])
                                <= figures[name].half_width)) for name in truth}


def _drawn(plots: int, rng: np.random.Generator
           ) -> tuple[dict[str, Vector], MeasuredPlot, Knowledge]:
    """True figures of plots, what was measured on them, and what is known of the machine."""
    wanted_m = rng.uniform(60e-7, 140e-7, plots)
    meter_true, meter_found, meter_u = _calibrated(rng, plots, PULSES_M3, METER_SCATTER,
                                                   int(AROUND.meter_runs))
    speed_true, speed_found, speed_u = _calibrated(rng, plots, PULSES_M, SPEED_SCATTER,
                                                   int(AROUND.speed_runs))
    width_true = WIDTH_M + rng.normal(0, AROUND.width_m, plots)
    droop_true = DROOP_M3_S + rng.normal(0, AROUND.droop_m3_s, plots)
    slip = 1 + rng.normal(0, AROUND.slip, plots)

    rates = wanted_m[:, None] * (1 + CV * rng.normal(size=(plots, METRES)))
    per_m = wanted_m * width_true
    liquid = rates * width_true[:, None]  # m3 on each metre
    liquid[:, 0] += per_m * EXCESS_M * rng.normal(size=plots)
    liquid[:, -1] += per_m * EXCESS_M * rng.normal(size=plots)
    volume = liquid.sum(axis=1)
    time_s = METRES / SPEED_M_S

    def counted(true_m3: Vector) -> Vector:
        """What the controller makes of a volume that went through the meter."""
        flow = volume / time_s
        read = flow - droop_true**2 / flow  # as a rotor reads that its bearings brake
        found = (read + np.sqrt(read**2 + 4 * DROOP_M3_S**2)) / 2  # as the firmware solves it
        return _count(rng, meter_true * true_m3 * read / flow) / meter_found * found / read

    def passed(way_m: float) -> Vector:
        return _count(rng, speed_true * slip * way_m) / speed_found

    def edge(member: slice) -> tuple[Vector, Vector]:
        """Excess at an end in metres: true, and measured."""
        got = liquid[:, member].sum(axis=1)
        seen = counted(got + rng.normal(0, AROUND.start_m3, plots))
        moved_m = SPEED_M_S * rng.normal(0, AROUND.edge_s, plots)
        return (got / per_m - EDGE_M,
                seen / (wanted_m * WIDTH_M) - passed(EDGE_M) + moved_m)

    start_true, start_seen = edge(slice(0, EDGE_M))
    end_true, end_seen = edge(slice(-EDGE_M, None))
    stray = rng.normal(0, AROUND.start_m3, (2, plots)).sum(axis=0)
    even = rates / rates.mean(axis=1)[:, None]
    seen = even * (1 + rng.normal(0, AROUND.metre, even.shape))
    measured = MeasuredPlot(
        volume_m3=counted(volume + stray), length_m=passed(METRES), width_m=WIDTH_M,
        time_s=time_s, wanted_m=wanted_m, pulses_per_m3=meter_found, pulses_per_m=speed_found,
        droop_m3_s=DROOP_M3_S, cv=seen.std(axis=1, ddof=1) / seen.mean(axis=1), metres=METRES,
        start_error_m=start_seen, end_error_m=end_seen, edge_m=EDGE_M)
    rate = volume / (METRES * width_true)
    truth = {"mean_rate": rate, "deviation": rate / wanted_m - 1, "volume": volume,
             "cv": even.std(axis=1, ddof=1), "start_error": start_true, "end_error": end_true}
    known: dict[str, Any] = AROUND.__dict__ | {"meter": meter_u, "speed": speed_u}
    return truth, measured, Knowledge(**known)


def _calibrated(rng: np.random.Generator, plots: int, about: float, scatter: float, runs: int
                ) -> tuple[Vector, Vector, Vector]:
    """A true constant, the mean of so many runs that found it, and its standard uncertainty."""
    true = about * (1 + 0.05 * rng.normal(size=plots))
    found = true[:, None] * (1 + scatter * rng.normal(size=(plots, runs)))
    mean = found.mean(axis=1)
    return true, mean, found.std(axis=1, ddof=1) / np.sqrt(runs) / mean


def _count(rng: np.random.Generator, pulses: Vector) -> Vector:
    """Whole pulses between two moments that fall anywhere."""
    phase = rng.uniform(size=pulses.shape)
    return np.floor(pulses + phase)


def main() -> None:
    """Print the coverage of each figure."""
    parser = argparse.ArgumentParser(prog="python -m host_sim.field_trial.coverage",
                                     description=__doc__)
    parser.add_argument("plots", nargs="?", type=count, default=PLOTS)
    parser.add_argument("seed", nargs="?", type=count, default=1)
    args = parser.parse_args()
    print(f"{args.plots} plots with a hidden truth, 95 % intervals:")
    for name, share in covered(args.plots, args.seed).items():
        print(f"{name:<12} {100 * share:.1f} %")


if __name__ == "__main__":
    main()
