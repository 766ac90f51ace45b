"""How long a visitor waits for the twin in a page, and how fast it then runs: in chromium, here."""

from __future__ import annotations

import functools
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.panel.browser import chromium
from host_sim.panel.feed import Feed
from host_sim.panel.game import Game
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.saver import Saver
from host_sim.panel.scenes import AT_MAX_S, BY_NAME, Script
from host_sim.twin.plain_drive import scenario_for

if TYPE_CHECKING:
    from playwright.sync_api import Page, ViewportSize

# Arm, lower, drive: what a visitor does until the machine works.
ACTIONS: tuple[Callable[[Page], None], ...] = (
    lambda page: page.get_by_role("button", name="Master").click(),
    lambda page: page.get_by_role("button", name="Implement").click(),
    lambda page: page.get_by_label("throttle").fill("50"),
)
WINDOW: ViewportSize = {"width": 1280, "height": 900}
LOAD_MS = 300_000.0
LOOK_MS = 50.0
HERE_S = 200.0  # of simulated time
# Simulated time that the page knows of, and the first metre of the ribbon.
NOW_S = "import('./main.js').then(({ panel }) => panel.row?.[0] ?? 0)"
MOVING = "import('./main.js').then(({ panel }) => panel.history.ways.true[0].cells.length > 0)"


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: object) -> None:
        pass


@contextmanager
def served(directory: Path) -> Iterator[str]:
    """The address of a directory, served by Python's own web server while the block runs."""
    handler = functools.partial(_Quiet, directory=str(directory))
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/"
        finally:
            server.shutdown()


def measured(directory: Path) -> str:
    """Seconds to load and to a moving ribbon, and simulated seconds a second, as a table."""
    with served(directory) as url, chromium() as browser:
        page = browser.new_page(viewport=WINDOW)
        loaded_s, moving_s = _waits(page, url)
        rate = _rate(page)
    return (f"loaded after {loaded_s:.1f} s\n"
            f"ribbon moves after {moving_s:.1f} s, by a visitor who clicks at once\n"
            f"{rate:.0f} simulated seconds a second; the same Python outside a browser, here and "
            f"now: {_rate_here():.0f}")


def waits(directory: Path) -> tuple[float, float]:
    """Seconds until the page can be played with, and until its ribbon moves."""
    with served(directory) as url, chromium() as browser:
        return _waits(browser.new_page(viewport=WINDOW), url)


def _waits(page: Page, url: str) -> tuple[float, float]:
    began_s = time.monotonic()
    page.goto(url)
    page.locator("#line.live").wait_for(timeout=LOAD_MS)
    page.locator("#missing li").first.wait_for(timeout=LOAD_MS)
    loaded_s = time.monotonic() - began_s
    for act in ACTIONS:
        act(page)
    until(page, MOVING)
    return loaded_s, time.monotonic() - began_s


def _rate(page: Page) -> float:
    """How fast the way to the latest moment is, from its first frame to its last."""
    page.evaluate(f"location.hash = 'scene=steady&at={AT_MAX_S:.0f}'")
    until(page, f"{NOW_S}.then((now) => now > 60)")
    began_s, from_s = time.monotonic(), page.evaluate(NOW_S)
    until(page, f"{NOW_S}.then((now) => now > {AT_MAX_S - 1})")
    return float(page.evaluate(NOW_S) - from_s) / (time.monotonic() - began_s)


def _rate_here() -> float:
    """The same way, by this Python: how fast this computer is, and how busy."""
    scenario = scenario_for(None)
    script = Script(BY_NAME["steady"].steps, HERE_S)
    began_s = time.monotonic()
    game = Game(LiveTwin(scenario), scenario, Feed(), lambda: 0.0, Saver(), script)
    game.frame()
    return HERE_S / (time.monotonic() - began_s)


def until(page: Page, promised: str, within_ms: float = LOAD_MS) -> None:
    """Wait until a promise comes true; the browser's own way of waiting takes any for true.

    Raises TimeoutError.
    """
    end_s = time.monotonic() + within_ms / 1e3
    while not page.evaluate(promised):
        if time.monotonic() > end_s:
            raise TimeoutError(f"not within {within_ms / 1e3:.0f} s: {promised}")
        page.wait_for_timeout(LOOK_MS)
