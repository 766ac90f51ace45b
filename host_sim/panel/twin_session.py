"""The twin, paced by real time and played by the people at the pages."""

from __future__ import annotations

import queue
import time
from pathlib import Path
from typing import Any

from host_sim.panel.commands import BadCommand, parse
from host_sim.panel.game import Game
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.saver import OUT, Saver
from host_sim.panel.session import FRAME_S, Session
from host_sim.twin.scenario import Scenario

WAITING = 64  # commands


class TwinSession(Session):
    """Plays one scenario, and again from its beginning when a page asks for it."""

    def __init__(self, scenario: Scenario, out: Path = OUT) -> None:
        super().__init__()
        self.saver = Saver(out)
        self._scenario = scenario
        self._queue: queue.Queue[tuple[str, list[Any]]] = queue.Queue(WAITING)

    def ask(self, message: str | bytes) -> str:
        try:
            name, arguments = parse(message)
        except BadCommand as bad:
            return str(bad)
        if name in ("section", "outlets") and (
                arguments[0] >= len(self._scenario.section_width_m)):
            return f"{name}: the machine has no such section"
        try:
            self._queue.put_nowait((name, arguments))
        except queue.Full:
            return "too many commands at once"
        return ""

    def report(self, name: str) -> Path | None:
        return self.saver.report(name)

    def play(self) -> None:
        try:
            self._play_on()
        finally:
            self.saver.wait()

    def _play_on(self) -> None:
        while not self.stopped.is_set():
            twin = LiveTwin(self._scenario)
            self._play(Game(twin, self._scenario, self.feed, time.monotonic, self.saver))

    def _play(self, game: Game) -> None:
        while not (game.over or self.stopped.is_set()):
            began_s = time.monotonic()
            while not self._queue.empty():
                name, arguments = self._queue.get()
                game.do(name, arguments)
            game.frame()
            self.stopped.wait(max(began_s + FRAME_S - time.monotonic(), 0.0))
