"""Drives that are saved in a page: worked out in its worker, handed to it as files.

The figures and the report are those of host_sim/runs and host_sim/report. They ask for numpy,
which a browser has not: stand_in/ takes its place.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from host_sim.panel.game import Tell

if TYPE_CHECKING:
    from host_sim.runs.record import RunRecord

HandOver = Callable[[str, str, str], object]  # a file's name, type and text
TYPES = {"html": "text/html", "csv": "text/csv", "json": "application/json"}


class PageKeeper:
    """Saves at once: the twin stands still meanwhile."""

    busy = False

    def __init__(self, hand_over: HandOver) -> None:
        self._hand_over = hand_over
        self._count = 0

    def aside(self, work: Callable[[], dict[str, Any]], tell: Tell) -> None:
        """Do some work at once."""
        tell(work())

    def save(self, record: RunRecord, us: bool, tell: Tell) -> None:
        """Hand the files of a drive over; `tell` gets {"saved": ...} with their names."""
        from host_sim.report.page import render
        from host_sim.runs.files import run_files
        from host_sim.runs.summary import summarise
        from host_sim.site.plain_charts import plain_charts

        figures = summarise(record) | {"wall_seconds": None}
        report = render(record, figures, us, chart=plain_charts)
        self._count += 1
        name = f"{time.strftime('drive_%Y%m%d_%H%M%S')}_{self._count}"
        files = run_files(record, figures, report)
        for file, text in files.items():
            self._hand_over(f"{name}/{file}", TYPES[file.rpartition(".")[2]], text)
        tell({"saved": {"name": name, "place": "", "files": list(files)}})
