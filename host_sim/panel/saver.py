"""Saves drives of the panel, each in a new directory, and knows the reports that it wrote."""

from __future__ import annotations

import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.common.errors import InputError
from host_sim.common.output import check_directory
from host_sim.panel.game import Tell

if TYPE_CHECKING:
    from host_sim.runs.record import RunRecord

OUT = Path("out/panel")
BUSY_ASIDE = "something is being worked out already"
TRIES = 100  # at a name for the same second


class Saver:
    """Writes one drive at a time, in a thread of its own: the twin goes on meanwhile."""

    def __init__(self, out: Path = OUT) -> None:
        check_directory(out)
        self.out = out
        self._thread: threading.Thread | None = None
        self._aside: threading.Thread | None = None
        self._reports: dict[str, Path] = {}

    @property
    def busy(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def report(self, name: str) -> Path | None:
        """The report of a drive that was saved under this name."""
        return self._reports.get(name)

    def save(self, record: RunRecord, us: bool, tell: Tell) -> None:
        """Begin to save; `tell` gets {"saved": ...} or {"refused": ...} when it is done."""
        self._thread = threading.Thread(target=self._save, args=(record, us, tell), daemon=True)
        self._thread.start()

    def aside(self, work: Callable[[], dict[str, Any]], tell: Tell) -> None:
        """Do some work in a thread of its own; one at a time."""
        if self._aside is not None and self._aside.is_alive():
            tell({"refused": BUSY_ASIDE})
            return
        self._aside = threading.Thread(target=self._do_aside, args=(work, tell), daemon=True)
        self._aside.start()

    @staticmethod
    def _do_aside(work: Callable[[], dict[str, Any]], tell: Tell) -> None:
        try:
            news = work()
        except Exception as error:
            traceback.print_exc()
            news = {"refused": f"it failed: {type(error).__name__}: {error}"}
        tell(news)

    def wait(self) -> None:
        """Wait until nothing is being written."""
        if self._thread is not None:
            self._thread.join()

    def _save(self, record: RunRecord, us: bool, tell: Tell) -> None:
        from host_sim.runs.files import REPORT_HTML, write_run
        from host_sim.runs.summary import summarise

        try:
            directory = self._new_directory()
            try:
                write_run(directory, record, summarise(record) | {"wall_seconds": None}, us)
            except BaseException:
                directory.rmdir()  # write_run leaves all or nothing
                raise
        except (InputError, OSError) as error:
            tell({"refused": f"the drive is not saved: {error}"})
            return
        self._reports[directory.name] = directory / REPORT_HTML
        tell({"saved": {"name": directory.name, "place": str(directory)}})

    def _new_directory(self) -> Path:
        """A directory that nobody has had. Raises OSError."""
        self.out.mkdir(parents=True, exist_ok=True)
        moment = time.strftime("drive_%Y%m%d_%H%M%S")
        for number in range(TRIES):
            directory = self.out / (f"{moment}_{number}" if number else moment)
            try:
                directory.mkdir()
            except FileExistsError:
                continue
            return directory
        raise FileExistsError(0, "no free name for a new directory", str(self.out))
