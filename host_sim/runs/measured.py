"""A run as the controller itself measured it, made of nothing but its own trace.

Nobody knows the truth about a real machine. In a measured run the columns named true_... hold
what the controller measured (speed sensor, flow meter shared among open sections by width; the
pressure is not a number), and `about` says so under "measured". Such a run shows how steadily
the controller kept its own rate, never whether its sensors are right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from host_sim.runs.places import measured_place, place_fact
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.recorder import PARTS, section_column
from rate_control import trace
from rate_control.interlock import APPLYING, BENCH

ESTIMATE_S = 1.0  # over longer intervals counted pulses say it better than the last estimate


def measured_columns(columns: Mapping[str, Column], widths_mm: Sequence[float]
                     ) -> dict[str, Column]:
    """The columns of a run from time_s, wanted_ml_ha and the trace."""
    run = {
        "time_s": columns["time_s"],
        "true_distance_m": np.cumsum(columns["distance_mm"]) / 1e3,
        "true_speed_m_s": columns["speed_mm_s"] / 1e3,
        "true_flow_ml_s": columns["flow_ul_s"] / 1e3,
        "true_pressure_bar": np.full(len(columns["time_s"]), np.nan),
        "hand_switches": columns["switches"],
        "wanted_ml_ha": columns["wanted_ml_ha"],
    } | measured_place(columns)
    shares = section_shares(columns, widths_mm)
    for index in range(len(widths_mm)):
        run[section_column(index)] = np.cumsum(columns["volume_ul"] / 1e3 * shares[:, index])
    more = [name for name in PARTS if name in columns]
    return run | {name: columns[name] for name in (*trace.FIELDS, *more)}


def section_shares(columns: Mapping[str, Column], widths_mm: Sequence[float]) -> Column:
    """Each section's share of the flow at each tick, taken to be its share of the open width.

    What is still counted after the last valve was told to close went through those that were
    open before.
    """
    mask = columns["section_mask"].astype(int)
    last_open = np.maximum.accumulate(np.where(mask > 0, np.arange(len(mask)), 0))
    is_open = mask[last_open, None] >> np.arange(len(widths_mm)) & 1
    width_mm = np.maximum(columns["width_mm"][last_open], 1)
    shares: Column = is_open * np.asarray(widths_mm, dtype=np.float64) / width_mm[:, None]
    return shares


def counted(columns: Mapping[str, Column]) -> dict[str, float]:
    """The controller's totals, from its pulses: all but the bench, and ground while applying."""
    state = columns["state"]
    metered_ul = columns["volume_ul"][state != BENCH].sum()
    covered_mm2 = (columns["distance_mm"] * columns["width_mm"])[state == APPLYING].sum()
    return {"controller_volume_l": float(metered_ul) / 1e6,
            "controller_area_ha": float(covered_mm2) / 1e10}


def is_simulated(record: RunRecord) -> bool:
    """Whether nothing but a simulated machine did the work."""
    return bool(record.about.get("simulated", not record.about.get("measured")))


def as_measured(record: RunRecord) -> RunRecord:
    """What the controller knew of a run of which the truth is known, too."""
    if record.about.get("measured"):
        return record
    widths_mm = [1000 * width_m for width_m in record.about["section_width_m"]]
    about = {name: fact for name, fact in record.about.items() if name != "place"}
    about |= {"measured": True, "simulated": True} | counted(record.columns)
    about |= place_fact(record.columns)
    return RunRecord(measured_columns(record.columns, widths_mm), about)


def estimated_steps(record: RunRecord, step_m: Column, section_ml: Column
                    ) -> tuple[Column, Column]:
    """Way and volume by section in each interval, from the controller's own estimates.

    Between two ticks there is room for a few pulses only, and one more or less is a large error.
    The controller's estimates of speed and flow come from the time between pulses and have none
    of it. `step_m` and `section_ml` are the same from counts, kept over longer intervals.
    """
    passed_s = np.diff(record["time_s"])
    brief = passed_s <= ESTIMATE_S
    widths_mm = [1000 * width_m for width_m in record.about["section_width_m"]]
    flow_ml = record["true_flow_ml_s"][1:] * passed_s
    shared_ml = section_shares(record.columns, widths_mm)[1:] * flow_ml[:, None]
    way_m = np.where(brief, record["true_speed_m_s"][1:] * passed_s, step_m)
    return way_m, np.where(brief[:, None], shared_ml, section_ml)
