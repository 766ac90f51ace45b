"""The map of a run and its figures."""

from __future__ import annotations

from host_sim.common import units
from host_sim.maps.drawing import FieldMap
from host_sim.maps.swaths import swaths_of
from host_sim.runs.measured import as_measured
from host_sim.runs.record import RunRecord

M2_HA, M3_L = 1e4, 1e-3


def field_map_of(record: RunRecord, us: bool) -> FieldMap:
    """The map of a run; of one of the twin the truth and, where it was followed, the belief."""
    believed = None
    if not record.about.get("measured"):
        measured = as_measured(record)
        if measured.has_place:
            believed = swaths_of(measured)
    return FieldMap(swaths_of(record), believed, us)


def figures_text(field_map: FieldMap, us: bool) -> list[str]:
    """The figures of each map, a line each."""
    lines = []
    for (name, swaths), covered in zip(field_map.swaths, field_map.covered, strict=True):
        area = _area(swaths.area_ha, us)
        volume = units.text("volume_ml", swaths.volume_l * M3_L, us)
        line = f"{name}: {volume} on {area}"
        if covered:
            line += (f"; ground {_area(covered.ground_ha, us)}, covered again "
                     f"{_area(covered.overlap_ha, us)}, skipped {_area(covered.skipped_ha, us)}")
        lines.append(line)
    return lines


def _area(area_ha: float, us: bool) -> str:
    value = units.shown("area_m2", area_ha * M2_HA, us)
    return f"{value:.4f} {units.unit('area_m2', us)}"
