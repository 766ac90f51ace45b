"""The main job as one call: drive a scenario, judge it, leave the results."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.common.output import write_bytes, write_whole
from host_sim.common.progress import progress
from host_sim.runs.files import write_run
from host_sim.runs.summary import summarise
from host_sim.twin.card_image import card_for
from host_sim.twin.input_recording import InputRecording
from host_sim.twin.scenario import Scenario
from host_sim.twin.twin import Twin


@dataclass(frozen=True)
class DriveResult:
    """What a drive gave: its figures (see summary.py) and the files written."""

    figures: dict[str, Any]
    paths: list[Path]


def drive(
    scenario: Scenario, out: Path, us: bool = False, record_inputs: Path | None = None,
    card: Path | None = None
) -> DriveResult:
    """Drive and write report, record and summary to `out`, and the inputs where asked for.

    `card`, where given, is the file that gets what the board wrote onto a fresh card.
    """
    recording = InputRecording(scenario.settings)
    fresh = card_for(scenario.speed_trace.duration_s) if card else None
    began = time.perf_counter()
    with progress("driving") as tell:
        record = Twin(scenario, recording.add if record_inputs else None, card=fresh).run(tell)
    wall_seconds = time.perf_counter() - began
    figures = summarise(record) | {"wall_seconds": wall_seconds}
    paths = write_run(out, record, figures, us)
    if record_inputs:
        paths.append(write_whole(record_inputs, recording.write))
    if card and fresh:
        paths += write_bytes({card: b"".join(fresh.trace())})
    return DriveResult(figures, paths)
