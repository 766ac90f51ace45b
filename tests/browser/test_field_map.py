"""The map of the field in a browser: four passes, seen, read and measured at both widths."""

import re

import numpy as np
import pytest
from playwright.sync_api import expect

from host_sim.common.earth import Origin
from host_sim.maps.covered import covered_by
from host_sim.maps.swaths import Piece, Swaths
from tests.browser.conftest import NARROW, WIDE
from tests.browser.test_panel_page import CONTRASTS, SOON_MS

SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
WIDTHS_M = (1.0, 1.5, 1.0)
SLABS = "import('/main.js').then(({ panel }) => panel.fieldMap.sides.true.swaths.slabs)"
AREAS = "import('/main.js').then(({ panel }) => panel.fieldMap.sides.true.swaths.coverage.areas())"
# A colour of the map at a place of the field, in metres.
COLOUR = """([x, y]) => import('/main.js').then(({ panel }) => {
    const canvas = document.getElementById("map-true");
    const [left, top] = panel.fieldMap.sides.true.place([x, y]);
    const at = [left, top].map((pixel) => Math.round(pixel * devicePixelRatio));
    const one = document.createElement("canvas").getContext("2d");
    one.drawImage(canvas, -at[0], -at[1]);
    const found = one.getImageData(0, 0, 1, 1).data;
    return "#" + [...found.slice(0, 3)].map((one) => one.toString(16).padStart(2, "0")).join("");
})"""
AT = """([x, y]) => import('/main.js').then(({ panel }) => {
    const [left, top] = panel.fieldMap.sides.true.place([x, y]);
    return { x: left, y: top };
})"""


def passes(page):
    """Go to the moment after four passes."""
    page.evaluate("location.hash = 'scene=passes&at=84'")
    truth = page.locator("#map-true")
    expect(truth).to_have_attribute(
        "aria-label", re.compile("^Map, truth: 0.0[34].* ha covered"), timeout=SOON_MS)
    page.locator("#field").scroll_into_view_if_needed()
    page.wait_for_timeout(1200)


def pieces(slabs):
    """The slabs of a page as the report's swaths, section by section."""
    found = Swaths(Origin(0.0, 0.0), list(WIDTHS_M), np.zeros(0), np.zeros((0, 2)))
    left_m = -sum(WIDTHS_M) / 2
    for section, width_m in enumerate(WIDTHS_M):
        stroke, before = 0, None
        for slab in slabs:
            if slab[7 + section]:
                stroke += before is None or slab[:3] != before[3:6]
                corners = [(slab[i] / 100 + aside * np.cos(angle),
                            slab[i + 1] / 100 - aside * np.sin(angle))
                           for i, sides in ((0, (0, width_m)), (3, (width_m, 0)))
                           for angle in [np.radians(slab[i + 2] / 10)]
                           for aside in (left_m + sides[0], left_m + sides[1])]
                found.pieces.append(Piece(section, stroke, 0.0, 0.0, np.array(corners), 1.0, 1.0,
                                          1.0))
                before = slab
            else:
                before = None
        left_m += width_m
    return found


@SIZES
def test_four_passes_are_seen_and_read(open_page, size):
    page = open_page(size, "dark" if size is NARROW else "light")
    passes(page)
    assert page.evaluate(COLOUR, [0.0, 20.0]) == "#f5f1b8"  # within 5 %
    page.get_by_role("button", name="how often").click()
    page.wait_for_timeout(300)
    assert page.evaluate(COLOUR, [0.0, 20.0]) == "#74a9cf"  # once
    assert page.evaluate(COLOUR, [8.45, 20.0]) == "#d7301f"  # the fourth pass over the third
    expect(page.locator("#map-legend li")).to_have_text(
        ["once", "twice and more", "skipped, between swaths"])
    page.locator("#map-true").hover(position=page.evaluate(AT, [0.0, 20.0]))
    expect(page.locator("#map-reading")).to_have_text(
        re.compile(r"^truth, section 2: (7\d|8\d)\.\d of 80\.0 L/ha, [\u00b1+\u2212]\d %$"))
    page.get_by_role("button", name="wanted", exact=True).click()
    expect(page.locator("#map-legend li").first).to_have_text("0 to 10 L/ha")
    page.wait_for_timeout(300)
    assert page.evaluate(COLOUR, [0.0, 20.0]) == "#2c7fb8"  # 80 L/ha, of 70 to 90
    page.get_by_text("The maps in figures").click()
    expect(page.get_by_role("row", name="covered again")).to_contain_text(
        re.compile(r"0\.00[12]\d ha"))
    page.get_by_role("button", name="US", exact=True).click()
    page.locator("#field").scroll_into_view_if_needed()
    expect(page.locator("#map-legend li").first).to_have_text("0 to 2 gal/ac")
    expect(page.get_by_role("row", name="covered again")).to_contain_text("ac")
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    assert page.evaluate(CONTRASTS) == []
    page.get_by_role("button", name="around the bar").click()
    page.wait_for_timeout(300)
    assert page.evaluate(COLOUR, [8.45, 20.0]) != "#d7301f"


def test_what_the_page_reckons_is_what_the_report_reckons(open_page):
    """Ground, overlap and skips by the page's raster, and by the report's on the same slabs."""
    page = open_page()
    passes(page)
    page_m2 = page.evaluate(AREAS)
    report = covered_by(pieces(page.evaluate(SLABS)))
    assert page_m2["ground"] == pytest.approx(report.ground_ha * 1e4, rel=0.01)
    assert page_m2["again"] == pytest.approx(report.overlap_ha * 1e4, rel=0.05)
    assert page_m2["skipped"] == pytest.approx(report.skipped_ha * 1e4, rel=0.1)
    assert report.overlap_ha * 1e4 > 10 and report.skipped_ha * 1e4 > 5


def test_a_stroke_covers_the_ground_once(open_page):
    again = open_page().evaluate("""async () => {
        const { Coverage } = await import("/coverage.js");
        const coverage = new Coverage([0, 0, 10, 10], 1);
        const ring = [[2, 2], [4, 2], [4, 5], [2, 5]];
        return [7, 7, 8].map((stroke) => {
            coverage.fill(ring, stroke);
            const { ground, again } = coverage.areas();
            return [ground, again].map((area) => Math.round(area));
        });
    }""")
    assert again == [[6, 0], [6, 0], [6, 6]]


@pytest.mark.parametrize("follows", [True, False])
def test_a_board_that_follows_its_place_has_a_map_and_no_other(open_page, follows):
    """The page of a board, fed as its session feeds it: no truth, no hands."""
    page = open_page()
    page.evaluate("""async (follows) => {
        const { panel } = await import("/main.js");
        panel.line.close();
        await new Promise((done) => setTimeout(done, 200));
        const row = panel.row;
        panel.take({ hello: { ...panel.hello, kind: "board", follows_place: follows } });
        panel.take({ rows: [row], believed_bar: { at: follows ? [0, 400, 0] : null, growing: null },
            believed_slabs: follows ? [[0, 0, 0, 0, 200, 0, 80000, 990, 1300, null],
                                       [0, 200, 0, 0, 400, 0, 80000, 990, 1300, null]] : [] });
    }""", follows)
    expect(page.locator("#field")).to_be_visible(visible=follows)
    if follows:
        page.locator("#field").scroll_into_view_if_needed()
        expect(page.locator("#map-true")).to_be_hidden()
        expect(page.locator("#spacing-form")).to_be_hidden()
        expect(page.locator("#map-believed")).to_have_attribute(
            "aria-label", re.compile(r"0\.0010 ha covered, .* 40 % of the ground within 5 %"))


def test_the_next_pass_lies_where_it_is_told_to(open_page):
    page = open_page()
    field = page.get_by_label("next pass")
    expect(field).to_have_value("3.500")
    field.fill("100 m")
    page.locator("#spacing-form button").click()
    expect(page.locator("#refused")).to_contain_text("next pass: must be 0.300 to 50.000 m")
    field.fill("4")
    page.locator("#spacing-form button").click()
    page.get_by_role("button", name="US", exact=True).click()
    expect(field).to_have_value(re.compile(r"^157\.\d+$"))


def test_a_map_that_grows_for_hours_stays_small(open_page):
    """Twenty kilometres of slabs: memory, raster and drawing are those of the newest of them."""
    page = open_page()
    found = page.evaluate("""async () => {
        const { panel } = await import("/main.js");
        panel.line.close();
        const { swaths } = panel.fieldMap.sides.true;
        for (let i = 0; i < 10000; i++) {
            const [east, north] = [350 * Math.floor(i / 100), 200 * (i % 100)];
            const slab = [east, north, 0, east, north + 200, 0, 80000, 990, 1000, 980];
            panel.fieldMap.add("true", slab);
        }
        panel.fieldMap.draw();
        return { slabs: swaths.slabs.length, gone: swaths.letGo,
                 cells: swaths.coverage.times.length, areas: swaths.coverage.areas() };
    }""")
    assert found["slabs"] < 6000 and found["slabs"] + found["gone"] == 10_000
    assert found["cells"] < 250_000
    laid_m2 = found["slabs"] * 2.0 * sum(WIDTHS_M)
    assert found["areas"]["ground"] == pytest.approx(laid_m2, rel=0.03)
