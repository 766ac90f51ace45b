// How often each bit of ground was covered, on a raster of a bounded number of cells. It reckons as
// host_sim/maps/covered.py does for the report: a cell counts where its middle lies in a piece of
// swath, and a skip is bare ground that a circle of half the bar's width cannot get into.

const FINEST_M = 0.1;
const CELLS = 200000;
const MARGIN_M = 1;

export class Coverage {
  /** box: west, south, east, north of all that will be filled in; reach_m: half the bar. */
  constructor([west, south, east, north], reach_m) {
    const margin = reach_m + MARGIN_M;
    const area = (east - west + 2 * margin) * (north - south + 2 * margin);
    this.cell_m = Math.max(FINEST_M, Math.sqrt(area / CELLS));
    this.west = west - margin;
    this.south = south - margin;
    this.columns = Math.ceil((east - west + 2 * margin) / this.cell_m);
    this.rows = Math.ceil((north - south + 2 * margin) / this.cell_m);
    this.reach = reach_m / this.cell_m;
    this.times = new Uint8Array(this.columns * this.rows);
    this.last = new Uint16Array(this.times.length); // the stroke that a cell was covered by last
    this.dirty = true;
  }

  /** Cover a convex ring [[east, north] ...]; one stroke covers a cell once. */
  fill(ring, stroke) {
    const own = (stroke % 65535) + 1;
    const x = ring.map(([east]) => (east - this.west) / this.cell_m);
    const y = ring.map(([, north]) => (north - this.south) / this.cell_m);
    const top = Math.min(this.rows - 1, Math.ceil(Math.max(...y)));
    for (let row = Math.max(0, Math.floor(Math.min(...y))); row <= top; row++) {
      const [from, to] = span(x, y, row + 0.5);
      // Middles at column + 0.5 with from <= middle < to, as an even-odd rule takes them.
      const end = Math.min(this.columns, Math.ceil(to - 0.5));
      for (let column = Math.max(0, Math.ceil(from - 0.5)); column < end; column++) {
        const cell = row * this.columns + column;
        if (this.last[cell] === own) continue;
        this.last[cell] = own;
        if (this.times[cell] < 255) this.times[cell]++;
      }
    }
    this.dirty = true;
  }

  /** Where bare ground is closed in; reckoned anew where something was covered since. */
  skipped() {
    if (!this.dirty) return this.bare;
    this.dirty = false;
    const reach2 = this.reach ** 2;
    const size = [this.columns, this.rows];
    const near = distances2(this.times, size, true).map((value) => Number(value <= reach2));
    const inside = distances2(near, size, false);
    this.bare = inside.map((value, cell) => Number(value > reach2 && !this.times[cell]));
    return this.bare;
  }

  /** Square metres: ground covered at all, covered again (once for each time), skipped. */
  areas() {
    const bare = this.skipped();
    const cell_m2 = this.cell_m ** 2;
    let [ground, again, skipped] = [0, 0, 0];
    for (let cell = 0; cell < this.times.length; cell++) {
      if (this.times[cell]) ground++;
      if (this.times[cell] > 1) again += this.times[cell] - 1;
      skipped += bare[cell];
    }
    return { ground: ground * cell_m2, again: again * cell_m2, skipped: skipped * cell_m2 };
  }

  /** How often a place was covered. */
  at([east, north]) {
    const column = Math.floor((east - this.west) / this.cell_m);
    const row = Math.floor((north - this.south) / this.cell_m);
    const on = column >= 0 && row >= 0 && column < this.columns && row < this.rows;
    return on ? this.times[row * this.columns + column] : 0;
  }
}

/** Where a line across at a height enters and leaves a convex ring. */
function span(x, y, height) {
  let [from, to] = [Infinity, -Infinity];
  for (let i = 0; i < x.length; i++) {
    const j = (i + 1) % x.length;
    if (y[i] > height === y[j] > height) continue;
    const cross = x[i] + ((height - y[i]) * (x[j] - x[i])) / (y[j] - y[i]);
    from = Math.min(from, cross);
    to = Math.max(to, cross);
  }
  return [from, to];
}

/** Squared distance, in cells, of each cell to the nearest that is (or is not) set: along the
    columns first, then the lowest of the parabolas along each row. Felzenszwalb and Huttenlocher,
    Distance Transforms of Sampled Functions, Theory of Computing 8 (2012). */
function distances2(cells, [columns, rows], set) {
  const FAR = 1e9;
  const found = new Float64Array(cells.length);
  for (let column = 0; column < columns; column++) {
    let away = FAR;
    for (let row = 0; row < rows; row++) {
      const cell = row * columns + column;
      away = Boolean(cells[cell]) === set ? 0 : Math.min(away + 1, FAR);
      found[cell] = away;
    }
    away = FAR;
    for (let row = rows - 1; row >= 0; row--) {
      const cell = row * columns + column;
      away = Math.min(away + 1, found[cell]);
      found[cell] = Math.min(away, found[cell]) ** 2;
    }
  }
  const at = new Int32Array(columns);
  const from = new Float64Array(columns + 1);
  const line = new Float64Array(columns);
  for (let row = 0; row < rows; row++) {
    line.set(found.subarray(row * columns, (row + 1) * columns));
    let last = 0;
    at[0] = 0;
    from[0] = -Infinity;
    from[1] = Infinity;
    for (let q = 1; q < columns; q++) {
      const meets = (p) => (line[q] + q * q - line[p] - p * p) / (2 * (q - p));
      let place = meets(at[last]);
      while (place <= from[last]) place = meets(at[--last]);
      at[++last] = q;
      from[last] = place;
      from[last + 1] = Infinity;
    }
    for (let q = 0, part = 0; q < columns; q++) {
      while (from[part + 1] < q) part++;
      found[row * columns + q] = (q - at[part]) ** 2 + line[at[part]];
    }
  }
  return found;
}
