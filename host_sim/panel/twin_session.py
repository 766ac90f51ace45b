"""The twin, paced by real time and played by the people at the pages."""

from __future__ import annotations

import time
from pathlib import Path

from host_sim.panel.saver import OUT, Saver
from host_sim.panel.session import FRAME_S, Session
from host_sim.panel.twin_play import TwinPlay
from host_sim.twin.scenario import Scenario


class TwinSession(Session):
    """Plays one scenario until stopped."""

    def __init__(self, scenario: Scenario, out: Path = OUT) -> None:
        self.saver = Saver(out)
        self._twin = TwinPlay(scenario, self.saver)
        super().__init__(self._twin.feed)

    def ask(self, message: str | bytes) -> str:
        return self._twin.ask(message)

    def report(self, name: str) -> Path | None:
        return self.saver.report(name)

    def play(self) -> None:
        try:
            while not self.stopped.is_set():
                began_s = time.monotonic()
                self._twin.frame()
                self.stopped.wait(max(began_s + FRAME_S - time.monotonic(), 0.0))
        finally:
            self.saver.wait()
