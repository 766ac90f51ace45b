"""The twin of one page, in its worker: worker.js calls this, over and over.

What panel/twin_session.py is to the server. There is one page and one thread, so nothing waits.
"""

from __future__ import annotations

from host_sim.panel.twin_play import TwinPlay
from host_sim.site.page_keeper import HandOver, PageKeeper
from host_sim.twin.plain_drive import scenario_for


class PageSession:
    """Plays the demonstration. `hand_over` gets each file that is saved: name, type and text."""

    def __init__(self, hand_over: HandOver) -> None:
        self._twin = TwinPlay(scenario_for(None), PageKeeper(hand_over))
        self._cursor: int | None = None

    def ask(self, message: str) -> str:
        """Take a message from the page; returns "" or why it is refused."""
        return self._twin.ask(message)

    def frame(self) -> str:
        """Live on to where simulated time should be; what is new for the page, as a JSON list."""
        self._twin.frame()
        texts, self._cursor = self._twin.feed.since(self._cursor)
        return f"[{','.join(texts)}]"
