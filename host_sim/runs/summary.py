"""The figures of a run: true rate errors, the controller's totals, and where it went wrong.

Rate error, precisely: in each interval between two ticks, the volume that really left the
orifices over the true distance times the width of the sections switched on by hand, against
the rate asked for at that moment. It is weighted with distance and taken over all ground
covered while the interlock permitted applying, from the first permitted tick on: nothing is
left out for start-up, section changes or the pump's own delay. Ground covered with every
section switched off by hand has no wanted rate and is not judged.

By the metre: the same where the plant stands. Each metre of each section is judged by itself, by
what fell on it, from the moment the master was on and the implement down: what the controller
did not permit, or had not permitted yet, is missed. Metres count with the area on which something
was wanted. What a board measured tells sections apart nowhere and has no such figures.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from host_sim.runs.judged import M2_HA
from host_sim.runs.passes import passes
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.sensed_pressure import sensed_pressure
from host_sim.runs.stretches import worst_stretches
from host_sim.runs.truth import Flags, Ground, Truth, ground_of, true_run
from rate_control import faults
from rate_control.interlock import APPLYING
from rate_control.units import SWITCH_IMPLEMENT

WORST = 5
PERCENTILES = (50, 95, 99)


def summarise(record: RunRecord) -> dict[str, Any]:
    """All figures by name, JSON-able; names end in their unit."""
    truth = true_run(record, record.about["section_width_m"])
    stretches = worst_stretches(record, truth, WORST)
    return (
        ground(record, truth)
        | rate_error(truth)
        | by_metre(record, truth)
        | belief(record)
        | sensed_pressure(record)
        | {
            "worst_stretches": [stretch.as_dict() for stretch in stretches],
            "sections": sections(record, truth),
            "passes": passes(record, truth),
        }
    )


def ground(record: RunRecord, truth: Truth) -> dict[str, Any]:
    """Distance, area and volume that really were covered and let out; if measured, as counted."""
    step_m = np.diff(record["true_distance_m"])
    width_m = (np.array(truth.section_width_m) * truth.section_on).sum(axis=1)
    covered_ha = step_m * width_m * truth.permitted / M2_HA
    area_ha = float(covered_ha.sum())
    volume_l = float(_section_l(record).sum())
    target_l = float((record["wanted_ml_ha"][1:] * covered_ha).sum()) / 1e3
    return {
        "distance_m": float(step_m[truth.permitted].sum()),
        "travelled_m": float(step_m.sum()),
        "area_ha": area_ha,
        "volume_l": volume_l,
        "target_l_ha": _ratio(target_l, area_ha),
        "mean_rate_l_ha": _ratio(volume_l, area_ha),
    }


def rate_error(truth: Truth) -> dict[str, Any]:
    """The distribution of the rate error over distance, in percent (see the module's text)."""
    judged = truth.judged
    error_pct = 100 * truth.error[judged]
    weight = truth.step_m[judged]
    if not len(error_pct):
        return dict.fromkeys(
            ("rate_error_rms_pct", "rate_error_mean_pct", "distance_within_5_pct",
             "distance_within_10_pct", *(f"rate_error_p{p}_pct" for p in PERCENTILES)))
    figures = {
        "rate_error_rms_pct": float(np.sqrt(np.average(error_pct**2, weights=weight))),
        "rate_error_mean_pct": float(np.average(error_pct, weights=weight)),
        "distance_within_5_pct": _within(error_pct, weight, 5),
        "distance_within_10_pct": _within(error_pct, weight, 10),
    }
    for percent in PERCENTILES:
        figures[f"rate_error_p{percent}_pct"] = _quantile(np.abs(error_pct), weight, percent)
    return figures


def by_metre(record: RunRecord, truth: Truth) -> dict[str, Any]:
    """How near to the wanted rate each metre of each section came (see the module's text)."""
    return metre_figures(_true_ground(record, truth), truth.section_width_m, "metre_")


def metre_figures(ground: Ground | None, widths_m: list[float], prefix: str) -> dict[str, Any]:
    """The figures of some ground, of all its sections together; none where none is known."""
    error_pct, weight = np.array([]), np.array([])
    if ground is not None:
        wanted: Flags = ground.target_ml > 0.0
        error_pct = 100 * ground.error[wanted]
        weight = (ground.worked_m * np.array(widths_m))[wanted]
    if not len(error_pct):
        return {f"{prefix}within_5_pct": None, f"{prefix}rms_pct": None}
    return {
        f"{prefix}within_5_pct": _within(error_pct, weight, 5),
        f"{prefix}rms_pct": float(np.sqrt(np.average(error_pct**2, weights=weight))),
    }


def _true_ground(record: RunRecord, truth: Truth) -> Ground | None:
    """What each section put on each metre; None where nobody knows."""
    return None if record.about.get("measured") else ground_of(truth, truth.asked)


def _within(error_pct: Column, weight: Column, limit: float) -> float:
    return float(100 * weight[np.abs(error_pct) <= limit].sum() / weight.sum())


def _quantile(values: Column, weight: Column, percent: float) -> float:
    """The value that `percent` of the weight does not exceed."""
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) / weight.sum()
    place = min(int(np.searchsorted(reached, percent / 100)), len(order) - 1)
    return float(values[order[place]])


def belief(record: RunRecord) -> dict[str, Any]:
    """What the controller says of itself: totals, coasting, faults."""
    applying = record["state"] == APPLYING
    lifted = record["hand_switches"].astype(int) & SWITCH_IMPLEMENT == 0
    seen = int(np.bitwise_or.reduce(record["faults"].astype(int)))
    return {
        "controller_volume_l": record.about["controller_volume_l"],
        "controller_area_ha": record.about["controller_area_ha"],
        "coasting_pct": _percent(record["coasting"][applying]),
        "at_limit_pct": _percent(record["saturated"][applying] > 0),
        "lifts": int(np.count_nonzero(np.diff(lifted.astype(int)) > 0)),
        "faults": faults.names(seen & faults.BLOCKING),
        "warnings": faults.names(seen & ~faults.BLOCKING),
        "notes": record.about.get("notes", []),
        "ticks": len(record),
        "sim_seconds": float(record["time_s"][-1]),
    }


def sections(record: RunRecord, truth: Truth) -> list[dict[str, Any]]:
    """Volume and area of each section, as in `ground`, and its metres, as in `by_metre`."""
    rows = []
    step_m = np.diff(record["true_distance_m"])
    let_out_l = _section_l(record)
    ground = _true_ground(record, truth)
    for index, width_m in enumerate(truth.section_width_m):
        on = truth.section_on[:, index] & truth.permitted
        area_ha = float(step_m[on].sum()) * width_m / M2_HA
        volume_l = float(let_out_l[index])
        rows.append({
            "section": index + 1,
            "width_m": width_m,
            "volume_l": volume_l,
            "area_ha": area_ha,
            "mean_rate_l_ha": _ratio(volume_l, area_ha),
        } | metre_figures(ground and ground.of_section(index), [width_m], ""))
    return rows


def _section_l(record: RunRecord) -> Column:
    """What each section let out in the whole run."""
    section_ml = record.section_ml
    litres: Column = (section_ml[-1] - section_ml[0]) / 1e3
    return litres


def _percent(flags: Column) -> float:
    return float(100 * flags.mean()) if len(flags) else 0.0


def _ratio(amount: float, area_ha: float) -> float | None:
    return amount / area_ha if area_ha > 0 else None
