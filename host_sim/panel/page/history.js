// What charts and ribbon are drawn from: the same past at three grains, each of a fixed size.
// Whatever the length of a run, memory and the time to draw stay the same.

// How far back each grain reaches, the span that is drawn as one lowest and one highest point
// (0: every row as it is), and the metres that are drawn as one cell, the worst of them.
export const GRAINS = [
  { name: "2 min", back_s: 120, bucket_s: 0, cell_m: 1 },
  { name: "10 min", back_s: 600, bucket_s: 1, cell_m: 5 },
  { name: "1 h", back_s: 3600, bucket_s: 6, cell_m: 30 },
];
const POINTS = 1250;
const CELLS = 800;

/** An array that keeps its newest entries, at most twice as many as it is asked to. */
function trim(list, size) {
  if (list.length >= 2 * size) list.splice(0, list.length - size);
}

/** Rows of numbers, column by column; the first column is the time. */
export class Track {
  constructor(columns, bucket_s) {
    this.columns = Array.from({ length: columns }, () => []);
    this.bucket_s = bucket_s;
    this.bucket = null;
  }

  add(row) {
    if (!this.bucket_s) {
      this.push(row);
      return;
    }
    const number = Math.floor(row[0] / this.bucket_s);
    if (this.bucket === null || number !== this.number) {
      if (this.bucket !== null) this.flush();
      this.number = number;
      this.bucket = row.map((value) => ({ low: value, high: value, rising: true }));
      return;
    }
    row.forEach((value, i) => widen(this.bucket[i], value));
  }

  /** Two points for a bucket: the extremes of each column, in the order in which they came. */
  flush() {
    const start_s = this.number * this.bucket_s;
    const first = this.bucket.map(({ low, high, rising }) => (rising ? low : high));
    const second = this.bucket.map(({ low, high, rising }) => (rising ? high : low));
    first[0] = start_s;
    second[0] = start_s + this.bucket_s / 2;
    this.push(first);
    this.push(second);
  }

  push(row) {
    row.forEach((value, i) => {
      this.columns[i].push(value);
      trim(this.columns[i], POINTS);
    });
  }
}

function widen(extremes, value) {
  if (value === null) return;
  if (extremes.low === null) {
    extremes.low = extremes.high = value;
  } else if (value < extremes.low) {
    extremes.low = value;
    extremes.rising = false;
  } else if (value > extremes.high) {
    extremes.high = value;
    extremes.rising = true;
  }
}

/** Cells along the way, [number, ratio of each section ...], with gaps between the numbers. */
export class Way {
  constructor(cell_m) {
    this.cell_m = cell_m;
    this.cells = [];
  }

  add([number, ...ratios]) {
    const own = Math.floor(number / this.cell_m);
    const last = this.cells.at(-1);
    if (last?.[0] === own) {
      ratios.forEach((ratio, i) => {
        if (worse(ratio, last[i + 1])) last[i + 1] = ratio;
      });
      return;
    }
    this.cells.push([own, ...ratios]);
    trim(this.cells, CELLS);
  }

  /** The cell with that number, if there is one. */
  find(number) {
    let low = 0;
    let high = this.cells.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.cells[middle][0] < number) low = middle + 1;
      else high = middle;
    }
    return this.cells[low]?.[0] === number ? this.cells[low] : null;
  }
}

function worse(ratio, than) {
  if (ratio === null) return false;
  return than === null || Math.abs(ratio - 1) > Math.abs(than - 1);
}

/** Everything that is kept of one run. */
export class History {
  constructor(columns) {
    this.tracks = GRAINS.map(({ bucket_s }) => new Track(columns, bucket_s));
    this.ways = {
      true: GRAINS.map(({ cell_m }) => new Way(cell_m)),
      believed: GRAINS.map(({ cell_m }) => new Way(cell_m)),
    };
  }

  addRow(row) {
    for (const track of this.tracks) track.add(row);
  }

  addCell(whose, cell) {
    for (const way of this.ways[whose]) way.add(cell);
  }
}
