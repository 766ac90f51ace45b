"""Pictures of the panel for the documents, taken by driving it in a browser."""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.common.output import write_whole
from host_sim.panel.browser import chromium
from host_sim.panel.start import in_background
from host_sim.panel.twin_session import TwinSession
from host_sim.twin.scenario import DEMO, load_scenario

if TYPE_CHECKING:
    from PIL.Image import Image
    from playwright.sync_api import Browser, Page

WALK_NAME = "panel_walk.webp"
WALK_SIZE = (1280, 980)
WALK_SHARE = 0.75  # of its size
FRAME_MS = 200
STILL_MS = 2500  # how long the last frame stays
QUALITY = 60

Tell = Callable[[float], None]


@dataclass(frozen=True)
class Still:
    """One picture: its file, the window, light or dark, and what is shown."""

    name: str
    size: tuple[int, int]
    scheme: str
    prepare: Callable[[Page], None]
    whole_page: bool = True


def _work(page: Page) -> None:
    page.keyboard.press("m")
    page.keyboard.press("l")


def _drive(page: Page) -> None:
    """Two minutes of the recorded drive, a section closed for a while, outlets worn at last."""
    _work(page)
    page.get_by_role("button", name="Follow a recorded drive").click()
    page.locator("#factor").press("End")
    page.wait_for_timeout(2200)
    page.keyboard.press("2")
    page.wait_for_timeout(600)
    page.keyboard.press("2")
    page.wait_for_timeout(1500)
    page.locator("#outlets select").last.select_option("1.2")
    page.wait_for_timeout(1600)
    for _ in range(4):
        page.keyboard.press("-")
    page.wait_for_timeout(500)


def _fault(page: Page) -> None:
    _work(page)
    page.get_by_label("throttle").fill("60")
    page.wait_for_timeout(6000)
    page.get_by_role("button", name="flow meter stuck").click()
    page.get_by_role("button", name="battery weak").click()
    page.locator(".blocking").wait_for()
    page.wait_for_timeout(2500)


def _field(page: Page) -> None:
    """What a phone shows on one screen, at work, with the outlets of a section worn."""
    page.evaluate("location.hash = 'scene=worn_outlets&at=50'")
    page.locator("#needle.within").wait_for(state="attached")
    page.wait_for_timeout(2500)


def _map(page: Page) -> None:
    """Four passes, how often each bit of ground was covered."""
    page.evaluate("location.hash = 'scene=passes&at=84'")
    page.wait_for_timeout(6000)
    page.get_by_role("button", name="how often").click()
    page.locator("#field").evaluate("field => field.scrollIntoView()")
    page.wait_for_timeout(1500)


STILLS = (
    Still("panel.png", (1280, 900), "light", _drive),
    Still("panel_dark.png", (1280, 900), "dark", _drive),
    Still("panel_phone.png", (390, 844), "light", _field, whole_page=False),
    Still("panel_fault.png", (1280, 720), "light", _fault, whole_page=False),
    Still("panel_map.png", (1280, 700), "light", _map, whole_page=False),
)


def take(directory: Path, tell: Tell) -> list[Path]:
    """Take all pictures; returns their paths. Raises InputError where there is no browser."""
    paths = []
    with chromium() as browser:
        for index, still in enumerate(STILLS):
            tell(index / (len(STILLS) + 2))
            with _opened(browser, still.size, still.scheme) as page:
                still.prepare(page)
                if still.whole_page:  # what is out of sight is not drawn
                    height = page.evaluate("document.documentElement.scrollHeight")
                    page.set_viewport_size({"width": still.size[0], "height": height})
                    page.wait_for_timeout(1000)
                data = page.screenshot()
            paths.append(write_whole(directory / still.name, saver(data)))
        tell(len(STILLS) / (len(STILLS) + 2))
        with _opened(browser, WALK_SIZE, "light") as page:
            film = Film(page)
            _walk(film)
        paths.append(write_whole(directory / WALK_NAME, film.save))
    return paths


@contextmanager
def _opened(browser: Browser, size: tuple[int, int], scheme: str) -> Iterator[Page]:
    """A panel of its own in a window."""
    session = TwinSession(load_scenario(DEMO))
    session.start()
    try:
        with in_background(session) as guard:
            width, height = size
            page = browser.new_page(
                viewport={"width": width, "height": height},
                color_scheme="dark" if scheme == "dark" else "light")
            page.goto(guard.url)
            page.locator("#missing li").first.wait_for(state="attached")
            yield page
            page.close()
    finally:
        session.stop()


def saver(data: bytes) -> Callable[[Path], None]:
    """What writes a screenshot to a file."""
    from PIL import Image

    def save(path: Path) -> None:
        Image.open(io.BytesIO(data)).convert("RGB").quantize(256).save(
            path, format="PNG", optimize=True)

    return save


# A headless browser draws no pointer, so the film brings its own.
POINTER = """() => {
    const dot = document.createElement("div");
    Object.assign(dot.style, { position: "fixed", width: "22px", height: "22px", left: "-50px",
        margin: "-11px 0 0 -11px", borderRadius: "50%", border: "2px solid #000",
        background: "rgb(255 200 60 / 65%)", pointerEvents: "none", zIndex: 9 });
    document.body.append(dot);
    addEventListener("mousemove", ({ clientX, clientY }) =>
        Object.assign(dot.style, { left: `${clientX}px`, top: `${clientY}px` }));
    addEventListener("mousedown", () => { dot.style.transform = "scale(.7)"; });
    addEventListener("mouseup", () => { dot.style.transform = ""; });
}"""


class Film:
    """Takes a frame about each FRAME_MS while a person, played here, does things."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._frames: list[Image] = []
        self._times_s: list[float] = []
        page.evaluate(POINTER)

    def wait(self, seconds: float) -> None:
        """Go on filming."""
        from PIL import Image

        for _ in range(round(seconds * 1e3 / FRAME_MS)):
            began_s = time.monotonic()
            self._times_s.append(began_s)
            data = self.page.screenshot()
            picture = Image.open(io.BytesIO(data)).convert("RGB")
            width, height = (round(side * WALK_SHARE) for side in picture.size)
            self._frames.append(picture.resize((width, height), Image.Resampling.LANCZOS))
            left_ms = FRAME_MS - (time.monotonic() - began_s) * 1e3
            self.page.wait_for_timeout(max(left_ms, 0.0))

    def click(self, selector: str, x_share: float = 0.5) -> None:
        """Go to something with the pointer, press it, and stay a moment."""
        box = self.page.locator(selector).bounding_box()
        assert box is not None, selector
        x, y = box["x"] + x_share * box["width"], box["y"] + 0.5 * box["height"]
        self.page.mouse.move(x, y, steps=4)
        self.wait(0.4)
        self.page.mouse.click(x, y)
        self.wait(0.4)

    def save(self, path: Path) -> None:
        """Write the film."""
        first, *rest = self._frames
        spans_s = [after - before for before, after in pairwise(self._times_s)]
        times = [*(round(span_s * 1e3) for span_s in spans_s), STILL_MS]
        first.save(path, format="WEBP", save_all=True, append_images=rest, duration=times,
                   loop=0, quality=QUALITY, method=4)


def _walk(film: Film) -> None:
    """Arm, lower, drive, watch; then a section, outlets that are blocked, and a stuck meter."""
    film.wait(1.0)
    film.click("#master")
    film.click("#implement")
    film.click("#throttle", 0.5)
    film.wait(6.0)
    film.click("[data-section='1']")
    film.wait(1.6)
    film.click("[data-section='1']")
    film.wait(1.6)
    film.click("#throttle", 0.8)
    film.wait(2.4)
    film.page.locator("#outlets select").last.select_option("0.5")
    film.wait(2.4)
    film.click("[data-whose=believed]")
    film.wait(1.6)
    film.click("[data-whose=true]")
    film.click("[data-trouble=meter_stalled]")
    film.wait(4.4)
