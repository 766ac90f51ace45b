"""A controller that is shown live, in a thread of its own: what the twin and a board share."""

from __future__ import annotations

import threading
import traceback
from pathlib import Path

from host_sim.panel.feed import Feed

FRAME_S = 0.1


class Session(threading.Thread):
    """Fills `feed` until stopped; `failure` tells what ended it before."""

    def __init__(self, feed: Feed) -> None:
        super().__init__(daemon=True)
        self.feed = feed
        self.failure = ""
        self.stopped = threading.Event()

    def stop(self) -> None:
        """End it and wait until it has."""
        self.stopped.set()
        self.join()

    def ask(self, message: str | bytes) -> str:
        """Take a message from a page; returns "" or why it is refused."""
        raise NotImplementedError

    def report(self, name: str) -> Path | None:
        """The report of a drive that was saved here under this name; a board has none."""
        return None

    def play(self) -> None:
        """Show the controller until stopped."""
        raise NotImplementedError

    def run(self) -> None:
        try:
            self.play()
        except Exception as error:
            traceback.print_exc()
            self.failure = f"{type(error).__name__}: {error}"
            self.feed.publish({"lost": f"the panel failed: {self.failure}"})
