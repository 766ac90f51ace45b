"""An hour of charts: the page must not become slower, nor its memory grow.

The hour is fed to the page as fast as it takes it, row by row as the server sends them at 10 a
second, and drawn for every row in the minutes that are compared. Times are compared with each
other only.
"""

from pathlib import Path

import pytest

MINUTES = 60
FULL = 2  # the first minute in which the shortest range, two minutes, is full all the time

HOUR = (Path(__file__).parent / "hour.js").read_text()


def test_an_hour_neither_slows_the_page_nor_fills_its_memory(open_page, record_property):
    page = open_page()
    hour = page.evaluate(HOUR, [MINUTES, FULL])
    first, full, last = hour["times"][0], hour["times"][FULL], hour["times"][-1]
    assert last / full < 1.6
    # From the moment on from which every range has its fill, memory stays.
    assert hour["heaps"][-1] / hour["heaps"][MINUTES // 2] < 1.15
    assert hour["points"] < 2500 and hour["cells"] < 1600
    # And nothing is lost of it: two minutes, ten, an hour, and the highest value in each.
    for reach_s, wanted_s in zip(hour["reach"], (120, 590, 3580), strict=True):
        assert reach_s >= wanted_s
    assert max(hour["peak"]) == pytest.approx(min(hour["peak"]), rel=0.002)
    record_property("summary", (
        f"panel after an hour: frame {last:.1f} ms, {last / first:.2f} x the first minute's, "
        f"{last / full:.2f} x the first full one's; memory {hour['heaps'][-1] / 1e6:.1f} MB, "
        f"{hour['heaps'][-1] / hour['heaps'][0]:.2f} x the first minute's"))


def test_a_frame_comes_for_every_tenth_of_a_second(open_page, record_property):
    """At the factor 1 a row is a tenth of a second; a busy computer puts several in a frame."""
    page = open_page()
    rows, per_second = page.evaluate("""async () => {
        const { panel } = await import("/main.js");
        const began = performance.now();
        let frames = 0;
        let rows = 0;
        await new Promise((done) => {
            const take = panel.take.bind(panel);
            panel.take = (frame) => {
                take(frame);
                rows += frame.rows?.length ?? 0;
                if (++frames === 30) done();
            };
        });
        return [rows, 30000 / (performance.now() - began)];
    }""")
    assert 25 <= rows <= 90
    record_property("summary", f"panel: {per_second:.1f} frames a second")
