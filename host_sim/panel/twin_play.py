"""A twin that is played frame by frame: by a thread behind the server, or in a page's own worker.

It needs no thread, no socket and no numpy, so that it runs in a browser as it does here.
"""

from __future__ import annotations

import queue
import time
from typing import Any

from host_sim.panel.commands import BadCommand, parse
from host_sim.panel.feed import Feed
from host_sim.panel.game import Game, Keeper
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.scenes import Script
from host_sim.twin.scenario import Scenario

WAITING = 64  # commands


class TwinPlay:
    """Plays one scenario, and again from its beginning when a page asks for it.

    `ask` may be called from any thread; `frame` belongs to the one that plays.
    """

    def __init__(self, scenario: Scenario, keeper: Keeper) -> None:
        self.feed = Feed()
        self._scenario = scenario
        self._keeper = keeper
        self._queue: queue.Queue[tuple[str, list[Any]]] = queue.Queue(WAITING)
        self._game: Game | None = None

    def ask(self, message: str | bytes) -> str:
        """Take a message from a page; returns "" or why it is refused."""
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

    def frame(self) -> None:
        """Do what was asked for, live on to where simulated time should be, show what is new."""
        if self._game is None or self._game.over:
            self._game = self._begin(self._game.script if self._game else Script())
        while not (self._queue.empty() or self._game.over):
            name, arguments = self._queue.get()
            self._game.do(name, arguments)
        if not self._game.over:
            self._game.frame()

    def _begin(self, script: Script) -> Game:
        return Game(LiveTwin(self._scenario), self._scenario, self.feed, time.monotonic,
                    self._keeper, script)
