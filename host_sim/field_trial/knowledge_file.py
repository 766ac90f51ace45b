"""What a person knows of the uncertainty of a machine: read from a file, or taken as usual.

The usual values are common practice and have no source: a budget says where each part is from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from host_sim.field_trial.uncertainty import Knowledge

DROOP_SHARE = 0.1  # of the droop that was set: how well it is known where nobody says
RUNS_MAX = 1000
# Key: attribute, quantity, and the largest that makes sense, in SI.
KEYS = {
    "meter": ("meter", "share_ppm", 0.2),
    "speed_sensor": ("speed", "share_ppm", 0.2),
    "width": ("width_m", "width_mm", 1.0),
    "droop": ("droop_m3_s", "flow_ul_s", 1e-3),
    "slip": ("slip", "share_ppm", 0.2),
    "start": ("start_m3", "volume_ml", 1e-2),
    "start_missed": ("missed_m3", "volume_ml", 1e-2),
    "moment": ("edge_s", "time_ms", 5.0),
    "metre": ("metre", "share_ppm", 0.5),
}
RUNS = {"meter_runs": "meter_runs", "speed_sensor_runs": "speed_runs"}


def usual(settings: Mapping[str, Any]) -> Knowledge:
    """Where nobody says anything, for a machine with these settings."""
    return Knowledge(droop_m3_s=DROOP_SHARE * settings.get("meter_droop_ul_s", 0) * 1e-9)


def read_knowledge(path: Path, settings: Mapping[str, Any]) -> Knowledge:
    """The uncertainties in a file; what it leaves out is as usual. Raises InputError."""
    source = TomlSource(path)
    problems: list[str] = []
    table = TomlTable(source, (), source.data, problems)
    known: dict[str, float] = {}
    for key, (attribute, quantity, most) in KEYS.items():
        text = table.text(key, "")
        if not text:
            continue
        try:
            value = units.parse_with_unit(quantity, text)
            if not 0 <= value <= most:
                internal = most / float(units.SI_PER_INTERNAL[quantity])
                span = units.typed_span(quantity, text, False, 0, internal)
                raise ValueError(f"must be from {span}, is '{text}'")
            known[attribute] = value
        except ValueError as error:
            table.refuse(key, str(error))
    for key, attribute in RUNS.items():
        runs = table.whole(key, 2, RUNS_MAX)
        if runs is not None:
            known[attribute] = runs
    table.finish()
    if problems:
        raise InputError(*problems)
    assert {field.name for field in fields(Knowledge)} >= set(known)
    return replace(usual(settings), **known)
