"""The twin in a page, from a plain web server: loaded, armed, driven, broken, reported.

Skipped, with the reason, where Python for the browser cannot be had, or there is no chromium.
"""

import re

import pytest
from playwright.sync_api import expect

from host_sim import REPO_ROOT
from host_sim.common.errors import InputError
from host_sim.site.__main__ import CACHE
from host_sim.site.build import build
from host_sim.site.measure import served
from tests.browser.conftest import NARROW, WIDE, show_everything
from tests.browser.test_panel_page import CONTRASTS, RATE, SOON_MS, faster, work

LOAD_MS = 120_000


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The address of the site. The server is Python's own; it knows nothing of the project."""
    out = tmp_path_factory.mktemp("out") / "site"
    try:
        build(out, REPO_ROOT / CACHE)
    except InputError as error:
        pytest.skip(str(error))
    with served(out) as address:
        yield address


@pytest.fixture
def open_site(browser, site):
    """Opens the site in a window of a size; every other origin is out of reach, and not asked."""
    contexts, complaints = [], []

    def open_(size, fragment="", scheme="light"):
        width, height = size
        context = browser.new_context(viewport={"width": width, "height": height},
                                      color_scheme=scheme)
        contexts.append(context)

        def gate(route):
            if route.request.url.startswith((site, "blob:", "data:")):
                route.continue_()
            else:
                complaints.append(f"asked {route.request.url}")
                route.abort()

        context.route("**", gate)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(message.text)
                if message.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(site + fragment)
        expect(page.locator("#line")).to_have_text("live", timeout=LOAD_MS)
        expect(page.locator("#loading")).to_be_hidden()
        return page

    yield open_
    for context in contexts:
        context.close()
    assert complaints == []


def report_of(page):
    """Save the drive and open its report, as a person does."""
    page.get_by_role("button", name="Save this drive").click()
    link = page.get_by_role("link", name="open its report")
    expect(link).to_be_visible(timeout=SOON_MS)
    with page.context.expect_page() as opened:
        link.click()
    expect(opened.value.locator("body")).to_contain_text("driven by hand", timeout=SOON_MS)
    return opened.value


def test_it_is_loaded_armed_driven_broken_and_reported(open_site):
    page = open_site(WIDE)
    expect(page.locator("#missing li")).to_have_text(
        ["master is off", "implement is up", "drive: too slow"])
    work(page)
    expect(page.locator(".big [data-show=applied-number]")).to_have_text(RATE, timeout=SOON_MS)
    expect(page.locator("#steps li.done")).to_have_count(4, timeout=SOON_MS)
    expect(page.get_by_role("img", name=re.compile(r"^Display: .*applying"))).to_be_visible()
    page.locator("#field").scroll_into_view_if_needed()
    expect(page.locator("#map-true")).to_have_attribute(
        "aria-label", re.compile(r"^Map, truth: 0\.0\d+ ha covered"), timeout=SOON_MS)
    faster(page)
    page.get_by_role("button", name="flow meter stuck").click()
    expect(page.locator("#faults li")).to_have_class("blocking", timeout=SOON_MS)

    report = report_of(page)
    expect(report.locator("body")).to_contain_text("the master was switched on")
    expect(report.locator("body")).to_contain_text("flow meter stuck")
    expect(report.locator("svg.wide")).to_be_visible()
    with page.expect_download() as loaded:
        page.get_by_role("link", name="run.csv").click()
    assert re.fullmatch(r"drive_\d{8}_\d{6}_1_run\.csv", loaded.value.suggested_filename)
    assert loaded.value.path().read_text().startswith("time_s,true_distance_m,")

    page.get_by_role("button", name="Start over").click()
    expect(page.locator("#missing li").first).to_have_text("master is off", timeout=SOON_MS)


def test_an_address_opens_a_moment_on_a_phone(open_site):
    page = open_site(NARROW, "#scene=stalled_meter&at=40", "dark")
    expect(page.locator("#faults li")).to_have_class("blocking", timeout=SOON_MS)
    expect(page.locator("#faults li")).to_contain_text("no flow at the meter")
    show_everything(page)
    expect(page.get_by_role("button", name="flow meter stuck")).to_have_attribute(
        "aria-pressed", "true")
    assert page.evaluate("document.documentElement.scrollWidth") == NARROW[0]
    assert page.evaluate(CONTRASTS) == []
    report = report_of(page)
    expect(report.locator("body")).to_contain_text("flow missing begins")
    assert report.evaluate("document.documentElement.scrollWidth") <= NARROW[0]
    expect(report.locator("svg.narrow")).to_be_visible()
    report.close()

    page.get_by_text("Go to a moment").click()
    page.get_by_role("link", name="a section closed at 32 s").click()
    expect(page.locator("[data-show=open]")).to_have_text("1 \u2013 3", timeout=SOON_MS)
    expect(page).to_have_url(re.compile("#scene=section_closed&at=32$"))


def test_it_is_tuned_on_a_phone(open_site):
    """An address opens it with the step test done; it is kept, and the pump is learned after it."""
    page = open_site(NARROW, "#scene=step_test&at=50")
    told, found = page.locator("#tune-told"), page.locator("#tune-found")
    expect(told).to_have_text("step test: done", timeout=SOON_MS)
    expect(found).to_contain_text(re.compile(r"fastest settling time\d\.\d\d s"))
    expect(page.get_by_role("heading", name="Learn the pump, and tune")).to_be_in_viewport()
    assert page.evaluate("document.documentElement.scrollWidth") == NARROW[0]
    assert page.evaluate(CONTRASTS) == []
    faster(page)
    page.get_by_role("button", name="Keep it").click()
    expect(told).to_contain_text("Kept: the machine works by it", timeout=SOON_MS)
    expect(found).to_be_hidden()

    page.get_by_label("speed", exact=True).fill("200 km/h")
    page.get_by_role("button", name="Step test").click()
    expect(page.locator("#refused")).to_contain_text("speed: must be ")
    page.get_by_role("button", name="Learn the pump").click()
    expect(told).to_have_text(re.compile(r"^pump curve: \w.*, \d+ %$"), timeout=SOON_MS)
    expect(page.get_by_role("progressbar", name="How far it is")).to_be_visible()
    page.get_by_role("button", name="Master").click()
    expect(told).to_have_text("pump curve: stopped", timeout=SOON_MS)
