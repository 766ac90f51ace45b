"""The page of the panel in a real browser: what a person does with it, and what it shows."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from host_sim.site.measure import until
from tests.browser.conftest import NARROW, WIDE, show_everything

SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["1280", "390"])
SOON_MS = 30_000
CONTRASTS = (Path(__file__).parent / "contrasts.js").read_text()
RATE = re.compile(r"^(7[89]|8[012])\.\d$")  # 80 L/ha, settled


def faster(page):
    """Let time go twenty times as fast, as a person would with the keyboard."""
    page.locator("#factor").focus()
    page.keyboard.press("End")


def go_far(page):
    """Wait until the machine has come a hundred metres."""
    expect(page.locator("#ribbon")).to_have_attribute(
        "aria-valuemax", re.compile(r"^\d{3,}$"), timeout=SOON_MS)


def work(page):
    """Arm, lower, drive."""
    page.get_by_role("button", name="Master").click()
    page.get_by_role("button", name="Implement").click()
    page.get_by_label("throttle").fill("50")
    expect(page.locator(".controller .state")).to_have_text("applying", timeout=SOON_MS)


@SIZES
def test_a_newcomer_sees_the_number_settle(open_page, size):
    page = open_page(size)
    steps = page.locator("#steps li")
    expect(steps.nth(0)).to_have_class("next")
    expect(page.locator("#missing li")).to_have_text(
        ["master is off", "implement is up", "drive: too slow"])
    work(page)
    expect(page.locator(".big [data-show=applied-number]")).to_have_text(RATE, timeout=SOON_MS)
    expect(page.locator("#steps li.done")).to_have_count(4, timeout=SOON_MS)
    expect(page.locator("#lead-after")).to_be_visible()
    expect(page.locator("#missing li")).to_have_text("nothing: outputs may be on")
    expect(page.locator("#needle")).to_have_class(re.compile("within"))
    expect(page.get_by_role("img", name=re.compile(r"^Display: .*applying"))).to_be_visible()
    expect(page.locator("#both")).to_have_text(
        re.compile(r"now \d+\.\d in truth, \d+\.\d as the controller believes, 80\.0 L/ha asked"))

    page.get_by_role("button", name="Implement").click()
    expect(page.locator(".controller .state")).to_have_text("ready", timeout=SOON_MS)
    expect(page.locator("#missing li")).to_have_text(["implement is up"])
    expect(page.locator("#said")).to_have_text("ready: implement is up")


@SIZES
def test_a_section_is_closed_and_the_flow_follows(open_page, size):
    page = open_page(size)
    faster(page)
    work(page)
    expect(page.locator("[data-show=open]")).to_have_text("1 2 3")
    section = page.get_by_role("button", name="Section 2")
    section.click()
    expect(section).to_have_attribute("aria-pressed", "false")
    expect(page.locator("[data-show=open]")).to_have_text("1 \u2013 3", timeout=SOON_MS)
    expect(page.locator(".big [data-show=applied-number]")).to_have_text(RATE, timeout=SOON_MS)


@SIZES
def test_a_stuck_meter_is_a_fault_in_words(open_page, size):
    page = open_page(size)
    faster(page)
    work(page)
    page.get_by_role("button", name="flow meter stuck").click()
    fault = page.locator("#faults li")
    expect(fault).to_have_class("blocking", timeout=SOON_MS)
    expect(fault).to_contain_text("no flow at the meter")
    expect(fault).to_contain_text("look at: tank, pump, meter")
    expect(page.locator(".controller .state")).to_have_text("fault")
    expect(page.locator("#steps li").first).to_contain_text("master off, then on")

    page.get_by_role("button", name="flow meter stuck").click()
    page.get_by_role("button", name="Master").click()
    expect(page.locator("#faults li")).to_have_text("none", timeout=SOON_MS)
    page.get_by_role("button", name="Master").click()
    expect(page.locator(".controller .state")).to_have_text("applying", timeout=SOON_MS)


def test_truth_and_belief_are_told_apart_on_the_ribbon(open_page):
    """Outlets half blocked: true rates differ by section, what the controller believes do not."""
    page = open_page()
    page.get_by_label("outlets of 3").select_option("half blocked")
    work(page)
    faster(page)
    ribbon = page.get_by_role("slider", name="Rate on the ground")
    go_far(page)
    ribbon.focus()
    page.keyboard.press("End")
    deviations = re.compile(r"section \d: ([+\u2212\u00b1])(\d+) %")
    truth = deviations.findall(ribbon.get_attribute("aria-valuetext"))
    assert [sign for sign, _ in truth] == ["+", "+", "\u2212"] and int(truth[2][1]) > 20
    page.keyboard.press("t")
    expect(page.get_by_role("button", name="belief")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("End")
    belief = deviations.findall(ribbon.get_attribute("aria-valuetext"))
    assert len(belief) == 3 and all(int(percent) <= 4 for _, percent in belief)
    expect(page.locator("#reading")).to_have_text(re.compile(r"^at \d+\.0 m: section 1: "))
    page.keyboard.press("Escape")
    expect(page.locator("#reading")).to_have_text("point at the ribbon to read it")


def test_the_ribbon_is_read_with_the_pointer_too(open_page):
    page = open_page()
    work(page)
    faster(page)
    go_far(page)
    page.locator("#ribbon").hover(position={"x": 60, "y": 30})
    expect(page.locator("#reading")).to_have_text(re.compile(r"^at \d+\.0 m: section 1: "))


def test_everything_by_keyboard(open_page):
    page = open_page()
    page.keyboard.press("m")
    page.keyboard.press("l")
    for _ in range(8):
        page.keyboard.press("ArrowUp")
    expect(page.locator("#throttle-out")).to_have_text("40 %")
    expect(page.locator(".controller .state")).to_have_text("applying", timeout=SOON_MS)
    page.keyboard.press("2")
    expect(page.get_by_role("button", name="Section 2")).to_have_attribute("aria-pressed", "false")
    page.keyboard.press("+")
    page.keyboard.press("+")  # faster than the server tells
    expect(page.locator("#factor-out")).to_have_text("\u00d7 5")
    page.keyboard.press("r")
    expect(page.get_by_role("button", name="10 min")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("p")
    expect(page.get_by_role("img", name=re.compile(">rate"))).to_be_visible(timeout=SOON_MS)
    page.keyboard.press("b")
    expect(page.get_by_role("img", name=re.compile("applying"))).to_be_visible(timeout=SOON_MS)
    page.keyboard.press("?")
    page.get_by_label("single keys are shortcuts").uncheck()
    page.keyboard.press("Escape")
    page.locator("h1").click()
    page.keyboard.press("m")
    expect(page.get_by_role("button", name="Master")).to_have_attribute("aria-pressed", "true")


def test_typing_is_not_taken_for_shortcuts(open_page):
    page = open_page()
    page.get_by_label("or exactly").fill("12")
    page.keyboard.press("Enter")
    page.get_by_label("outlets of 1").press("m")
    page.locator("#throttle").press("ArrowDown")
    expect(page.locator("#true-speed")).to_have_text("12.0 km/h")
    expect(page.get_by_role("button", name="Master")).to_have_attribute("aria-pressed", "false")
    for number in (1, 2):
        expect(page.get_by_role("button", name=f"Section {number}")).to_have_attribute(
            "aria-pressed", "true")


def test_every_control_can_be_reached_named_and_seen(open_page):
    """Tab goes through all of them; each has a name and shows that it has the focus."""
    page = open_page()
    seen = set()
    for _ in range(80):
        page.keyboard.press("Tab")
        found = page.evaluate("""() => {
            const e = document.activeElement;
            const own = getComputedStyle(e);
            return {name: e.ariaLabel || e.labels?.[0]?.textContent.trim() || e.textContent.trim(),
                    tag: e.tagName, outline: parseFloat(own.outlineWidth), id: e.id};
        }""")
        if found["tag"] == "BODY":
            break
        assert found["name"], found
        assert found["outline"] >= 2, found
        seen.add(found["name"].split("\n")[0].strip())
    wanted = {"Section 1", "flow meter stuck", "Fill", "Start over", "truth", "10 min",
              "Time factor", "Tank level", "Rate on the ground, metre by metre"}
    assert wanted <= seen
    assert not page.locator("[onclick]").count()


def test_us_units_throughout(open_page):
    """80 L/ha are 8.55 gal/ac: 80 / 3.785411784 x 0.40468564224, the exact definitions."""
    page = open_page()
    page.get_by_role("button", name="US", exact=True).click()
    page.get_by_label("or exactly").fill("5")
    page.get_by_role("button", name="Go at once").click()
    expect(page.locator("#true-speed")).to_have_text("5.0 mph")
    expect(page.locator("#lead-before strong")).to_have_text("8.55 gal/ac")
    expect(page.locator(".chart h3").first).to_contain_text("application rate, gal/ac")
    page.locator("#rate").fill("10")
    page.get_by_role("button", name="Set").click()
    expect(page.locator("#both")).to_contain_text("10.00 gal/ac asked")


@SIZES
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_sticks_out_and_text_can_be_read(open_page, size, scheme):
    """No sideways scrolling; text against its ground at least 4.5 : 1 (WCAG 2.2, 1.4.3)."""
    page = open_page(size, scheme)
    work(page)
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    assert page.evaluate(CONTRASTS) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_phone_has_what_is_needed_in_the_field_on_one_screen(open_page, scheme):
    """Switches, speed, display, sums, tank, a fault in words and the strip, without scrolling."""
    page = open_page(NARROW, scheme, everything=False)
    work(page)
    page.evaluate("import('/main.js').then(({ panel }) => "
                  "panel.line.send('trouble', 'meter_stalled', true))")
    expect(page.locator("#faults .blocking")).to_be_visible(timeout=SOON_MS)
    bar = page.get_by_role("navigation", name="How much is shown").bounding_box()
    for wanted in ("#master", "#implement", "[data-section='2']", "#throttle", "#display",
                   "[data-key=push]", "[data-show=area_m2]", "[data-show=tank-count]",
                   "#faults .blocking", "#ribbon", "#reading"):
        box = page.locator(wanted).bounding_box()
        assert box and box["y"] >= 0 and box["y"] + box["height"] <= bar["y"], (wanted, box)
    assert page.evaluate("document.documentElement.scrollHeight") == NARROW[1]
    assert page.evaluate("document.documentElement.scrollWidth") == NARROW[0]
    assert page.evaluate(CONTRASTS) == []
    expect(page.get_by_role("button", name="Save this drive")).to_be_hidden()
    show_everything(page)
    expect(page.get_by_role("button", name="Save this drive")).to_be_visible()
    page.get_by_role("button", name="One screen").click()
    expect(page.locator("#charts")).to_be_hidden()


@SIZES
def test_the_tank_is_counted_down_and_said_to_be_near_empty(open_page, size):
    page = open_page(size)
    count = page.locator("[data-show=tank-count]")
    expect(count).to_have_text("200.0 L")
    page.locator("#tank").fill("20")
    expect(count).to_have_text("20.0 L")
    faster(page)
    work(page)
    expect(page.locator("#tank-low")).to_have_text("near empty, by count", timeout=60_000)
    page.get_by_role("button", name="Fill").click()
    expect(page.locator("#tank-low")).to_have_text("", timeout=SOON_MS)


@pytest.mark.parametrize(("size", "us"), [(WIDE, False), (NARROW, True)], ids=["1280", "390"])
def test_the_last_minute_is_replayed_with_another_setting_beside_it(open_page, size, us):
    page = open_page(size, "dark" if us else "light")
    if us:
        page.get_by_role("button", name="US", exact=True).click()
    page.evaluate("location.hash = 'scene=steady&at=64'")
    expect(page.locator("#ribbon")).to_have_attribute(
        "aria-valuemax", re.compile(r"^1[23]\d$"), timeout=SOON_MS)
    page.get_by_label("setting").select_option(label="meter k factor")
    expect(page.locator("#other-meaning")).to_contain_text("pulses of the meter")
    page.get_by_label("were").fill("many")
    page.get_by_role("button", name="Replay the last minute").click()
    expect(page.locator("#refused")).to_contain_text("k_factor")
    expect(page.locator("#what-if-told")).to_have_text("")
    page.get_by_label("were").fill("480 pulses/L")
    page.get_by_role("button", name="Replay the last minute").click()
    told = page.locator("#what-if-told")
    expect(told).to_have_text(re.compile(
        r"With meter k factor at .* of the ground is within 5 %; as it is set, at "),
        timeout=60_000)
    strips = page.locator("#what-if-found canvas")
    expect(strips).to_have_count(2)
    strips.last.focus()
    page.keyboard.press("End")
    expect(page.locator("#what-if-found output").last).to_have_text(
        re.compile(r"^at \d+(\.0 m|\.\d ft): section 1: \+"))
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    assert page.evaluate(CONTRASTS) == []


@SIZES
def test_a_machine_is_sized_at_the_desk(open_page, size):
    page = open_page(size)
    page.get_by_role("button", name="Size it").click()
    answer = page.locator("#size-answer")
    expect(answer).to_contain_text("FITS: every rate over the whole speed range.", timeout=SOON_MS)
    page.locator("#size-lines").fill("rate = 80 furlongs")
    page.get_by_role("button", name="Size it").click()
    expect(page.locator("#size-why")).to_contain_text("is missing", timeout=SOON_MS)
    expect(answer).to_be_hidden()
    page.get_by_text("what a line may say").click()
    expect(page.locator("#size-fields")).to_contain_text("outlet_pressure = 1 to 4 bar")
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]


def test_a_drive_is_reported_with_one_click(open_page, tmp_path, session):
    session.saver.out = tmp_path / "drives"
    page = open_page()
    faster(page)
    work(page)
    with page.context.expect_page(timeout=90_000) as opened:
        page.get_by_role("button", name="Report it").click()
    expect(opened.value.locator("body")).to_contain_text("driven by hand", timeout=SOON_MS)


def test_an_address_opens_a_moment_and_start_over_leaves_it(open_page):
    page = open_page(WIDE)
    page.get_by_text("Go to a moment").click()
    page.get_by_role("link", name="stalled meter at 40 s").click()
    expect(page.locator("#faults li")).to_have_class("blocking", timeout=SOON_MS)
    expect(page.locator("#scenes a[aria-current]")).to_have_text("stalled meter at 40 s")
    expect(page.locator("#scenes")).to_be_hidden()
    page.evaluate("location.hash = 'scene=no_such_one&at=3'")
    expect(page.locator("#refused")).to_contain_text("scene: must be one of steady, stalled_meter")
    page.evaluate("location.hash = 'scene=steady&at=soon'")
    expect(page.locator("#refused")).to_contain_text("scene: must be a number, 0 to 600 s")
    page.get_by_role("button", name="Start over").click()
    expect(page.locator("#steps li").first).to_have_class("next", timeout=SOON_MS)
    assert page.evaluate("location.hash") == ""


def test_a_second_page_sees_what_the_first_does(open_page):
    one, two = open_page(), open_page(NARROW)
    one.get_by_role("button", name="Master").click()
    expect(two.get_by_role("button", name="Master")).to_have_attribute("aria-pressed", "true")
    two.get_by_role("button", name="air in the line").click()
    expect(one.get_by_role("button", name="air in the line")).to_have_attribute(
        "aria-pressed", "true")


def test_start_over_gives_a_new_machine(open_page):
    page = open_page()
    faster(page)
    work(page)
    page.get_by_role("button", name="Start over").click()
    expect(page.locator("#steps li").first).to_have_class("next", timeout=SOON_MS)
    expect(page.locator("#factor-out")).to_have_text("\u00d7 1")


@SIZES
def test_a_number_out_of_range_is_refused_in_the_unit_beside_its_field(open_page, size):
    page = open_page(size)
    told = page.locator("#refused")
    page.locator("#rate").fill("9999")
    page.locator("#ask button").click()
    expect(told).to_have_text("asked: must be 1.0 to 5000.0 L/ha")
    page.locator("#speed").fill("50")
    page.locator("#go").click()
    expect(told).to_have_text("speed: must be 0.0 to 43.2 km/h")
    page.get_by_role("button", name="US", exact=True).click()
    page.locator("#speed").fill("50")
    page.locator("#go").click()
    expect(told).to_have_text("speed: must be 0.0 to 26.8 mph")


def test_a_field_takes_a_number_with_its_unit_and_tells_limits_in_it(open_page):
    """5000 L/ha are 534.53 gal/ac, and 5 mph are 8.05 km/h, by the exact definitions."""
    page = open_page()
    told = page.locator("#refused")
    for typed, answer in (
        ("9999 gal/ac", "asked: must be 0.11 to 534.53 gal/ac"),
        ("80 furlongs", 'asked: unit "furlongs" is none of L/ha, gal/ac'),
        ("9,5", 'asked: "9,5": write the decimal sign as a point'),
        ("much", 'asked: unit "much" is none of L/ha, gal/ac'),
        ("", 'asked: "" is not a number'),
    ):
        page.locator("#rate").fill(typed)
        page.locator("#ask button").click()
        expect(told).to_have_text(answer)
    page.locator("#rate").fill("10 gpa")
    page.locator("#ask button").click()
    expect(page.locator("#both")).to_contain_text("93.5 L/ha asked")
    page.locator("#speed").fill("5 mph")
    page.locator("#go").click()
    expect(page.locator("#true-speed")).to_have_text("8.0 km/h")


@SIZES
def test_the_sums_of_the_job_and_the_buzzer_are_shown(open_page, size):
    page = open_page(size)
    expect(page.locator("[data-show=area_m2]")).to_have_text("0.00 ha")
    expect(page.locator("[data-show=buzzer]")).to_have_text("silent")
    faster(page)
    work(page)
    expect(page.locator("[data-show=area_m2]")).not_to_have_text("0.00 ha", timeout=SOON_MS)
    expect(page.locator("[data-show=volume_ml]")).to_have_text(
        re.compile(r"^[1-9]\d*\.\d L$"), timeout=SOON_MS)
    page.get_by_role("button", name="flow meter stuck").click()
    expect(page.locator("[data-show=buzzer]")).to_have_text("sounds", timeout=SOON_MS)
    page.get_by_role("button", name="US", exact=True).click()
    expect(page.locator("[data-show=distance_m]")).to_have_text(re.compile(r" mi$"))
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@SIZES
def test_a_drive_is_saved_and_its_report_opens(open_page, size, tmp_path, session):
    session.saver.out = tmp_path / "drives"
    page = open_page(size)
    faster(page)
    work(page)
    page.get_by_role("button", name="US", exact=True).click()
    page.get_by_role("button", name="Save this drive").click()
    link = page.get_by_role("link", name="open its report")
    expect(link).to_be_visible(timeout=SOON_MS)
    expect(page.get_by_role("img", name=re.compile("gal.ac"))).to_be_visible(timeout=SOON_MS)
    with page.context.expect_page() as opened:
        link.click()
    report = opened.value
    expect(report.locator("body")).to_contain_text("driven by hand", timeout=SOON_MS)
    expect(report.locator("body")).to_contain_text("gal/ac")
    expect(report.locator("body")).to_contain_text("the master was switched on")
    report.close()
    assert len(list((tmp_path / "drives").glob("drive_*/run.csv"))) == 1


def test_the_buzzer_is_silent_until_it_is_wanted_and_then_sounds_with_the_controllers(open_page):
    page = open_page(WIDE)
    loud = "import('/main.js').then(({ panel }) => panel.buzzer.gain?.gain.value ?? null)"
    buzzing = page.locator("[data-show=buzzer]")
    faster(page)
    work(page)
    page.get_by_role("button", name="flow meter stuck").click()
    expect(buzzing).to_have_text("sounds", timeout=SOON_MS)
    assert page.evaluate(loud) is None
    page.get_by_role("button", name="hear it").click()
    until(page, f"{loud}.then((value) => value > 0.02)", SOON_MS)
    page.get_by_role("button", name="hear it").click()
    until(page, f"{loud}.then((value) => value < 0.001)", SOON_MS)
