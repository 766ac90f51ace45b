// Feeds an hour to the page, and tells what it cost: see test_panel_hour.py.

async ([minutes, full]) => {
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
    const values = {
      time_s: start_s + s,
      way_m: start_m + 3 * s,
      rate_ml_ha: 80000,
      applied_ml_ha: rate,
      true_applied_ml_ha: rate + 400,
      speed_mm_s: 3000,
      true_speed_mm_s: 3000,
      flow_ul_s: rate,
      true_flow_ul_s: rate,
      target_ul_s: 80000,
      duty_u16: 30000 + rate / 10,
      supply_mv: 13000,
      state: 2,
      permits: 1023,
      section_mask: 7,
    };
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
  const heap = () => {
    gc();
    gc();
    return performance.memory.usedJSHeapSize;
  };
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
};
