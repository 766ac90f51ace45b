"""Report and application record as a browser shows and prints them."""

from __future__ import annotations

import re
import shutil

import pytest

from host_sim.__main__ import main
from host_sim.twin.scenario import SCENARIO_DIR
from tests.browser.conftest import NARROW, WIDE
from tests.support.drives import START, scenario_file

PAPERS = {"A4": ("210mm", "297mm"), "Letter": ("8.5in", "11in")}


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A report, one of two runs, and an application record, by name."""
    out = tmp_path_factory.mktemp("files")
    run, job = out / "run", SCENARIO_DIR / "plot_bar_job.toml"
    assert main(["drive", str(scenario_file(out, START)), "--out", str(run)]) == 0
    shutil.copytree(run, out / "other")
    assert main(["report", str(run), "--against", str(out / "other"),
                 "--out", str(out / "against.html")]) == 0
    assert main(["application-record", str(run), "--job", str(job),
                 "--out", str(out / "record"), "--units", "us"]) == 0
    return {"report": run / "report.html", "against": out / "against.html",
            "record": out / "record" / "application_record.html"}


@pytest.fixture
def show(browser, files):
    """Opens a file in a window of a size; nothing may be complained of or asked for."""
    contexts, complaints = [], []

    def open_(name, size, scheme="light"):
        context = browser.new_context(viewport=dict(zip(("width", "height"), size, strict=True)),
                                      color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda request: complaints.append(request.url)
                if not request.url.startswith(("file:", "data:")) else None)
        page.goto(files[name].as_uri())
        return page

    yield open_
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
@pytest.mark.parametrize("name", ["report", "against", "record"])
def test_nothing_is_wider_than_the_window(show, name, size):
    page = show(name, size)
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    shown = page.locator("svg:visible")
    assert shown.count() >= 1
    for svg in shown.all():
        box = svg.bounding_box()
        assert box["width"] > 0.6 * min(size[0], 400) and box["x"] + box["width"] <= size[0]


@pytest.mark.parametrize("paper", PAPERS)
def test_a_record_is_one_page_of_paper(show, paper):
    width, height = PAPERS[paper]
    printed = show("record", WIDE).pdf(width=width, height=height, prefer_css_page_size=False)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1


@pytest.mark.parametrize(("name", "dark"), [("report", True), ("record", False)])
def test_a_record_stays_light_in_the_dark(show, name, dark):
    """Paper is white; a report on a screen follows the screen."""
    page = show(name, WIDE, scheme="dark")
    colour = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (colour != "rgb(255, 255, 255)") == dark
