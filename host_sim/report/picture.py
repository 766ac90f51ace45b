"""What the charts of a report are drawn from, in the units that are shown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host_sim.common import units
from host_sim.report.basis import basis_of
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.truth import Truth

ML_HA_M = 1e-10  # a rate of 1 mL/ha as a depth of liquid in metres
TOLERANCE = 0.05  # the band around the wanted rate


@dataclass(frozen=True)
class Picture:
    """Everything that the charts are drawn from. `us` selects US customary units."""

    record: RunRecord
    truth: Truth
    us: bool

    def shown(self, quantity: str, values: Column) -> Column:
        """SI values in the unit that is shown."""
        return np.asarray(values * units.shown(quantity, 1.0, self.us))

    def unit(self, quantity: str) -> str:
        return units.unit(quantity, self.us)

    @property
    def line(self) -> str:
        """What the applied rate is called: true, or only measured."""
        return basis_of(self.record.about).line

    @property
    def measured(self) -> bool:
        return bool(self.record.about.get("measured"))

    @property
    def way(self) -> Column:
        """Distance along at each interval's start, as shown."""
        return self.shown("distance_m", self.truth.distance_m)

    @property
    def applied_rate(self) -> Column:
        """Applied rate, as shown; a gap where it is not judged."""
        return self.wanted_rate * (1.0 + self.truth.error)

    @property
    def wanted_rate(self) -> Column:
        """Rate asked for, as shown; a gap where nothing is to be applied."""
        rate = self.shown("rate_ml_ha", self.record["wanted_ml_ha"][1:] * ML_HA_M)
        return np.where(self.truth.judged, rate, np.nan)

    def flow(self, values: Column, factor: float) -> Column:
        return self.shown("flow_ul_s", values[:-1] * factor)
