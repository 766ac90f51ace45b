"""What was done, as a record needs it: from a run, or from the plots that a board kept."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from host_sim.common.errors import InputError
from host_sim.common.versions import versions
from host_sim.report.words import remarks
from host_sim.runs.files import load_run, run_parts
from host_sim.runs.measured import as_measured, is_simulated
from host_sim.runs.plot_record import (
    SETTINGS_FILES,
    is_plot_record,
    read_plot_record,
    record_parts,
    remarks_of,
    totals_of,
)
from host_sim.runs.record import RunRecord
from host_sim.runs.summary import summarise
from rate_control.interlock import APPLYING

UNKNOWN_WITHIN = ("cv_pct", "start_error_m", "end_error_m")  # of a plot of which sums are kept


@dataclass(frozen=True)
class WorkDone:
    """`figures` are those of a summary; its passes are `piece`s, by name or number.

    `rates_ml_ha` were set while applying, `applying_s` are its first and last second in the run,
    None where nobody knows. `measured` is the run itself, as its controller measured it.
    """

    about: dict[str, Any]
    figures: dict[str, Any]
    rates_ml_ha: list[int]
    remarks: list[str]
    piece: str = "pass"
    applying_s: tuple[float, float] | None = None
    measured: RunRecord | None = None

    @property
    def simulated(self) -> bool:
        """Whether nothing was applied in truth."""
        return self.measured is not None and is_simulated(self.measured)

    @property
    def us(self) -> bool:
        """Whether its controller showed US customary units."""
        return bool(self.about["settings"].get("us_units"))


def work_parts(path: Path) -> list[Path]:
    """The files that it is read from."""
    return record_parts(path) if is_plot_record(path) else run_parts(path)


def load_work(path: Path) -> WorkDone:
    """The work of a run, of a recording, or of a fetched record of plots. Raises InputError."""
    return _of_plots(path) if is_plot_record(path) else work_of_run(load_run(path)[0])


def work_of_run(record: RunRecord) -> WorkDone:
    """The work of a run, by the figures of its controller."""
    measured = as_measured(record)
    applying = measured["state"] == APPLYING
    time_s = measured["time_s"][applying]
    return WorkDone(
        measured.about, summarise(measured),
        [int(rate) for rate in np.unique(measured["wanted_ml_ha"][applying])],
        remarks(record.about),
        applying_s=(float(time_s[0]), float(time_s[-1])) if len(time_s) else None,
        measured=measured)


def _of_plots(path: Path) -> WorkDone:
    """The work of the plots that a board kept."""
    record = read_plot_record(path)
    if record.settings is None:
        raise InputError(f"{path}: the settings of the board are not there whole "
                         f"({' or '.join(SETTINGS_FILES)}): fetch it again")
    totals = totals_of(record)
    unknown = dict.fromkeys(UNKNOWN_WITHIN)
    figures = totals | {
        "controller_area_ha": totals["area_ha"], "controller_volume_l": totals["volume_l"],
        "distance_within_5_pct": None, "sections": [],
        "passes": [row | unknown | {"pass": row["plot"]} for row in record.rows]}
    about = {"settings": record.settings.as_dict(), "versions": versions()}
    rates = sorted({round(1000 * row["asked_l_ha"]) for row in record.rows})
    return WorkDone(about, figures, rates, remarks_of(record), piece="plot")
