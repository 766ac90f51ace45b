"""A browser, and a panel with a twin behind it.

Skipped, with the reason, where there is no chromium.
"""

import pytest
from playwright.sync_api import expect

from host_sim.common.errors import InputError
from host_sim.panel.browser import chromium, find_chromium
from host_sim.panel.start import in_background
from host_sim.panel.twin_session import TwinSession
from host_sim.twin.scenario import DEMO, load_scenario

WIDE, NARROW = (1280, 900), (390, 844)


@pytest.fixture(scope="module")
def browser():
    """Not for the whole session: Playwright occupies the thread with an event loop of its own."""
    try:
        find_chromium()
    except InputError as error:
        pytest.skip(str(error))
    with chromium("--enable-precise-memory-info", "--js-flags=--expose-gc") as started:
        yield started


@pytest.fixture
def session():
    """The twin, in real time."""
    played = TwinSession(load_scenario(DEMO, field="calm"))
    played.start()
    yield played
    played.stop()
    assert played.failure == ""


@pytest.fixture
def url(session):
    with in_background(session) as guard:
        yield guard.url


def show_everything(page):
    """On a phone the page begins with what fits one screen; a tap shows the rest."""
    button = page.get_by_role("button", name="Everything")
    if button.is_visible():
        button.click()


def first_row(page):
    """Wait until the first row has come."""
    expect(page.locator("#both")).to_contain_text("asked")


@pytest.fixture
def open_page(browser, url):
    """Opens the panel in a window of a size; at the end nothing may have been complained of."""
    contexts, complaints = [], []

    def open_(size=WIDE, scheme="light", first=first_row, everything=True):
        width, height = size
        context = browser.new_context(viewport={"width": width, "height": height},
                                      color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(message.text)
                if message.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("requestfailed", lambda request: complaints.append(request.url))
        page.on("request", lambda request: complaints.append(f"asked {request.url}")
                if not request.url.startswith((url, url.replace("http", "ws"), "data:")) else None)
        page.goto(url)
        first(page)
        if everything:
            show_everything(page)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert complaints == []
