"""A short drive as a page plays and saves it, faster than real time."""

from __future__ import annotations

from host_sim.panel.feed import Feed
from host_sim.panel.game import Game
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.scenes import BY_NAME, Script
from host_sim.site.page_keeper import PageKeeper
from host_sim.twin.plain_drive import scenario_for

STEPS = ((12.0, "section", 1, False), (15.0, "section", 1, True), (17.0, "implement", False),
         (20.0, "implement", True), (26.0, "trouble", "meter_stalled", True))
END_S = 34.0


def save_a_drive() -> dict[str, str]:
    """Two passes, a section closed in the first, the meter stuck in the second; files by name."""
    files: dict[str, str] = {}
    keeper = PageKeeper(lambda name, kind, text: files.update({name.partition("/")[2]: text}))
    scenario = scenario_for(None)
    script = Script((*BY_NAME["steady"].steps, *STEPS), END_S)
    game = Game(LiveTwin(scenario), scenario, Feed(), lambda: 0.0, keeper, script)
    game.frame()
    game.do("save", [False])
    return files
