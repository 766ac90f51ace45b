"""The report: words first, true to the figures, self-contained, and small."""

from __future__ import annotations

import re
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure

from host_sim.machine_file.homes import key_of
from host_sim.report.decimate import min_max, worst_of
from host_sim.report.detail_charts import frame_histogram
from host_sim.report.page import render
from host_sim.report.palette import MARKERS
from host_sim.report.timeline import LONGEST, timeline
from host_sim.report.words import Teller
from host_sim.runs.record import RunRecord
from host_sim.runs.summary import summarise
from host_sim.twin.twin import Twin
from tests.support.drives import START, short_scenario
from tests.support.page import Page


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Record and figures of a short drive with a lift, a section switch and a rate change."""
    events = START + (
        '[[event]]\nat_s = 10\nimplement = "up"\nnote = "the <first> headland"\n'
        '[[event]]\nat_s = 13\nimplement = "down"\n'
        '[[event]]\nat_s = 20\nsection = 2\nswitch = "off"\n'
        "[[event]]\nat_s = 25\nrate_l_ha = 95\n"
    )
    scenario = short_scenario(tmp_path_factory.mktemp("run"), events, speeds="0,2\n30,2.5\n")
    record = Twin(scenario).run()
    return record, summarise(record) | {"wall_seconds": 1.0}


@pytest.fixture(scope="module")
def html(run):
    return render(*run, us=False)


def test_the_page_is_well_formed_and_fetches_nothing(html):
    page = Page(html)
    assert page.open == []
    assert page.links
    assert all(link.startswith(("#", "data:")) for link in page.links)
    styles = "".join(re.findall(r"<style>.*?</style>|style=\".*?\"", html, re.DOTALL))
    assert "@import" not in styles
    assert not re.findall(r"url\((?!#)", styles)
    assert "<script" not in html


def test_the_page_is_small(html):
    assert len(html) < 2_000_000


def test_the_words_say_what_the_figures_say(run, html):
    _, figures = run
    text = Page(html).text
    assert f"{figures['distance_within_5_pct']:.1f} % of the distance was within 5 %" in text
    assert f"{figures['mean_rate_l_ha']:.1f} L/ha on average" in text
    assert "with one lift of the implement" in text
    assert "Worst: " in text
    assert "the implement was lifted (the <first> headland)" in text
    assert "section 2 was switched off" in text
    assert "the rate was set to 95.0 L/ha (10.16 gal/ac)" in text
    assert text.index("within 5 %") < text.index("Along the way")


def test_text_of_a_person_cannot_break_the_page(html):
    assert "<first>" not in html
    assert "&lt;first&gt;" in html


def test_charts_are_written_in_the_font_of_the_page(html):
    assert "font-family: var(--font)" in html
    assert "DejaVu" not in html


def test_colours_of_the_charts_follow_the_page(html):
    assert not [marker for marker in MARKERS.values() if marker in html]
    assert "stroke: var(--true)" in html
    assert "prefers-color-scheme: dark" in html
    assert "@media print" in html


def test_the_same_run_gives_the_same_page(run, html):
    assert render(*run, us=False) == html


def test_us_customary_units(run):
    _, figures = run
    text = Page(render(*run, us=True)).text
    # 1 gal/ac = 9.353958 L/ha, 1 US gal = 3.785411784 L (NIST SP 811)
    assert f"{figures['mean_rate_l_ha'] / 9.353958:.2f} gal/ac on average" in text
    assert f"{figures['volume_l'] / 3.785411784:.1f} gal" in text
    assert "L/min" not in text.partition("Settings of the controller")[0]


def test_every_setting_is_listed(run, html):
    record, _ = run
    text = Page(html).text
    assert [name for name in record.about["settings"] if key_of(name) not in text] == []
    assert "numpy" in text


def test_a_run_that_never_applied_is_reported(tmp_path):
    record = Twin(short_scenario(tmp_path, "", speeds="0,0\n5,0\n")).run()
    page = Page(render(record, summarise(record) | {"wall_seconds": 1.0}, us=False))
    assert "never permitted to apply" in page.text
    assert "No fault." in page.text


def test_the_timeline_has_hands_controller_and_faults_in_order(tmp_path):
    record = Twin(short_scenario(tmp_path, START + "[[event]]\nat_s = 8\nmeter_stalled = true\n")
                  ).run()
    moments = timeline(record, Teller(summarise(record), us=False))
    assert [moment.time_s for moment in moments] == sorted(moment.time_s for moment in moments)
    said = [(moment.who, moment.what) for moment in moments]
    order = [said.index(one) for one in (
        ("hands", "the implement came down"), ("controller", "applying"),
        ("fault", "the flow meter stuck"),
        ("controller", "flow missing begins (no flow at the meter: tank, pump, meter)"))]
    assert order == sorted(order)
    assert ("controller", "fault: flow missing") in said
    assert ("controller", "ready: implement is up") in said


def test_a_long_timeline_says_that_it_is_cut(run):
    record, figures = run
    event = {"time_s": 1.0, "distance_m": 1.0, "who": "hands", "words": "again", "note": ""}
    crowded = RunRecord(record.columns, record.about | {"events": [event] * 500})
    moments = timeline(crowded, Teller(figures, us=False))
    assert len(moments) == LONGEST + 1
    assert re.fullmatch(r"and 3\d\d more from here on, not shown", moments[-1].what)


# Fewer points.


@given(st.lists(st.one_of(st.floats(-1e6, 1e6), st.just(np.nan)), min_size=1, max_size=300),
       st.integers(1, 20))
def test_decimation_keeps_both_extremes_and_the_order(values, buckets):
    y = np.array(values)
    x = np.arange(len(y), dtype=float)
    kept_x, kept_y = min_max(x, y, buckets)
    assert len(kept_x) <= max(2 * buckets, len(y) if len(y) <= 2 * buckets else 0)
    assert (np.diff(kept_x) > 0).all()
    assert np.array_equal(kept_y, y[kept_x.astype(int)], equal_nan=True)
    if not np.isnan(y).all():
        assert np.nanmin(kept_y) == np.nanmin(y)
        assert np.nanmax(kept_y) == np.nanmax(y)


def test_decimation_keeps_gaps():
    y = np.ones(1000)
    y[400:600] = np.nan
    kept_x, kept_y = min_max(np.arange(1000.0), y, 50)
    gap = kept_x[np.isnan(kept_y)]
    assert gap.min() <= 410 and gap.max() >= 580


@given(st.integers(1, 400), st.integers(1, 50), st.integers(0, 2**32 - 1))
def test_the_worst_cell_of_each_group_is_shown(rows, buckets, seed):
    rng = np.random.default_rng(seed)
    ratios = rng.uniform(0.5, 1.5, (rows, 2))
    ratios[rng.random((rows, 2)) < 0.2] = np.nan
    worst, size = worst_of(ratios, buckets)
    assert len(worst) <= buckets or size == 1
    assert len(worst) * size >= rows > (len(worst) - 1) * size
    for index in range(len(worst)):
        group = ratios[index * size : (index + 1) * size]
        for column in range(2):
            numbers = group[~np.isnan(group[:, column]), column]
            if len(numbers):
                assert abs(worst[index, column] - 1) == np.abs(numbers - 1).max()
            else:
                assert np.isnan(worst[index, column])


def test_a_rate_that_is_off_by_one_and_the_same_all_along_is_drawn_without_a_warning():
    axis = Figure().subplots()
    axis.stairs([0.0, 100.0, 0.0])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        frame_histogram(axis)
    assert axis.get_ylim() == (0.01, 100)
