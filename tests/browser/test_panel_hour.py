"""An hour of charts: the page must not become slower, nor its memory grow.

The hour is fed to the page as fast as it takes it, row by row as the server sends them at 10 a
second, and drawn for every row in the minutes that are compared. Times are compared with each
other only.
"""

import pytest

MINUTES = 60
FULL = 2  # the first minute in which the shortest range, two minutes, is full all the time

HOUR = """async ([minutes, full]) => {
    const { panel } = await import("/main.js");
    panel.line.close();
    await new Promise((done) => setTimeout(done, 200));
    const at = panel.columns;
    const width = Object.keys(at).length;
    const start_s = panel.row[at.time_s];
    const start_m = panel.row[at.way_m];
    const rowAt = (s) => {
        const row = Array(width).fill(0);
        const rate = 80000 + 3000 * Math.sin(s / 3) + 500 * Math.sin(s * 7);
        const values = { time_s: start_s + s, way_m: start_m + 3 * s, rate_ml_ha: 80000,
            applied_ml_ha: rate, true_applied_ml_ha: rate + 400, speed_mm_s: 3000,
            true_speed_mm_s: 3000, flow_ul_s: rate, true_flow_ul_s: rate, target_ul_s: 80000,
            duty_u16: 30000 + rate / 10, supply_mv: 13000, state: 2, permits: 1023, section_mask: 7 };
        for (const [name, value] of Object.entries(values)) row[at[name]] = value;
        return row;
    };
    const frameAt = (tenth) => {
        const [before, now] = [Math.floor(0.3 * (tenth - 1)), Math.floor(0.3 * tenth)];
        const cells = now > before ? [[Math.floor(start_m) + now, 1, 1.04, 0.9]] : [];
        return { rows: [rowAt(tenth / 10)], cells, believed: cells };
    };
    // The fast tenth of the frames: what else the computer does only adds to the others.
    const quick = (list) => list.sort((a, b) => a - b)[Math.floor(list.length / 10)];
    const heap = () => { gc(); gc(); return performance.memory.usedJSHeapSize; };
    const times = [];
    const heaps = [];
    for (let minute = 0; minute < minutes; minute++) {
        const own = [];
        for (let tenth = 600 * minute + 1; tenth <= 600 * (minute + 1); tenth++) {
            panel.waiting = true; // drawn here, not by the screen
            const began = performance.now();
            panel.take(frameAt(tenth));
            if (minute === 0 || minute === full || minute === minutes - 1) {
                panel.draw();
                await null; // uPlot draws in a microtask
                await null;
                own.push(performance.now() - began);
            }
        }
        times.push(own.length ? quick(own) : null);
        heaps.push(heap());
        await new Promise((done) => setTimeout(done, 0));
    }
    const points = Math.max(...panel.history.tracks.map((track) => track.columns[0].length));
    const cells = Math.max(...panel.history.ways.true.map((way) => way.cells.length));
    const reach = panel.history.tracks.map(({ columns: [s] }) => s.at(-1) - s[0]);
    const peak = panel.history.tracks.map(({ columns }) => Math.max(...columns[at.applied_ml_ha]));
    return { times, heaps, points, cells, reach, peak };
}"""


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
