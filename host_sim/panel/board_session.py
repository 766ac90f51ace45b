"""A real board over the link: the page only shows it.

Nothing that comes from a page is passed on. What is asked of the board itself are the readings
in controller_view.py; none of them can change, arm or start anything.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from host_sim.board.link_client import LinkClient, LinkError
from host_sim.board.link_port import LinkPort
from host_sim.panel.controller_view import ControllerView
from host_sim.panel.feed import Feed
from host_sim.panel.frames import Changes, frame_of, numbers
from host_sim.panel.hello import about_controller
from host_sim.panel.session import FRAME_S, Session

ONLY_SHOWS = "a real board is only shown: everything is done at the machine"
RETRY_S = 1.0


class BoardSession(Session):
    """Follows a board, and again after the line was lost."""

    def __init__(self, open_port: Callable[[], LinkPort]) -> None:
        super().__init__(Feed())
        self._open_port = open_port
        self._changes = Changes()

    def ask(self, message: str | bytes) -> str:
        return ONLY_SHOWS

    def play(self) -> None:
        client = LinkClient(self._open_port)
        view = ControllerView(client, time.monotonic)
        while not self.stopped.is_set():
            try:
                view.connect()
                self._begin(view)
                self._follow(view)
            except LinkError as error:
                self.feed.publish({"lost": str(error)})
                client.close()
                self.stopped.wait(RETRY_S)
        client.close()

    def _begin(self, view: ControllerView) -> None:
        """Let every page begin anew."""
        self.feed.begin(about_controller(view.facts))
        self._changes.forget()

    def _follow(self, view: ControllerView) -> None:
        """Show what comes. Raises LinkError once nothing comes any more."""
        while not self.stopped.is_set():
            until_s = time.monotonic() + FRAME_S
            rows = []
            while time.monotonic() < until_s:
                rows += [numbers(row) for row in view.take()]
            if view.look():
                self._begin(view)
            self.feed.publish(frame_of(view, rows, self._changes))
