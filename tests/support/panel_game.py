"""A game of the panel whose real time is a number."""

from __future__ import annotations

import json

from host_sim.panel.feed import Feed
from host_sim.panel.game import Game
from host_sim.panel.hello import BELIEVED, TRUE
from host_sim.panel.saver import OUT, Saver
from host_sim.panel.session import FRAME_S
from host_sim.twin.scenario import DEMO, load_scenario

COLUMNS = BELIEVED + TRUE


class Played:
    """A game, and every frame of it. Drives are saved below `out`."""

    def __init__(self, twin, out=OUT, scenario=None):
        self.now_s = 0.0
        self.feed = Feed()
        self.twin = twin
        self.out = out
        self.saver = Saver(out)
        self.game = Game(
            twin, scenario or load_scenario(DEMO, field="calm"), self.feed, lambda: self.now_s,
            self.saver)
        self.rows = []
        self.latest = {}
        self.cursor = None

    def play(self, seconds, *commands):
        """Give commands and let real time go by; returns the newest row by name."""
        for name, *arguments in commands:
            self.game.do(name, arguments)
        for _ in range(round(seconds / FRAME_S)):
            self.now_s += FRAME_S
            self.game.frame()
            texts, self.cursor = self.feed.since(self.cursor)
            for frame in map(json.loads, texts):
                self.latest |= {name: value for name, value in frame.items() if value}
                self.rows += frame.get("rows", [])
        return dict(zip(COLUMNS, self.rows[-1], strict=True))
