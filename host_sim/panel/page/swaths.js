// The slabs of one map (see host_sim/panel/swath_slabs.py), the newest of them, and what they cover.

import { Coverage } from "./coverage.js";

export const KEPT = 3000; // at least; twice as many at most
const [HEADING_START, END, WANTED, FIRST] = [2, 3, 6, 7]; // places in a slab
const GROW_M = 10; // room at least for what comes
const TURNED_ROUND_DEG = 90; // from there on ground that is met again counts as covered twice

export class Swaths {
  constructor(widths_mm) {
    this.widths_m = widths_mm.map((width) => width / 1000);
    const total = this.widths_m.reduce((sum, width) => sum + width, 0);
    this.reach_m = total / 2;
    let left = -this.reach_m;
    this.edges_m = this.widths_m.map((width) => [left, (left += width)]);
    this.slabs = [];
    this.letGo = 0; // slabs
    this.strokes = 0;
    this.stroke = widths_mm.map(() => null);
    this.box = null; // has room for what comes
    this.extent = null; // has none
    this.coverage = null;
  }

  add(slab) {
    this.slabs.push(slab);
    if (this.slabs.length >= 2 * KEPT) {
      this.letGo += KEPT;
      this.slabs.splice(0, KEPT);
      this.box = null;
    }
    this.extent = wider(this.extent, this.around(slab));
    if (this.box && this.holds(slab)) this.cover(slab);
    else this.startAnew();
  }

  /** Reckon box and coverage anew, from what is kept. */
  startAnew() {
    const before = this.box;
    this.extent = this.slabs.reduce((all, slab) => wider(all, this.around(slab)), null);
    const box = this.extent;
    const room = Math.max(GROW_M, 0.2 * Math.max(box[2] - box[0], box[3] - box[1]));
    // A side that was reached moves on by so much that this is seldom.
    this.box = box.map((side, i) => {
      if (before && (i < 2 ? side >= before[i] : side <= before[i])) return before[i];
      return side + (i < 2 ? -room : room);
    });
    this.coverage = new Coverage(this.box, this.reach_m);
    this.stroke.fill(null);
    this.before = null;
    for (const slab of this.slabs) this.cover(slab);
  }

  holds(slab) {
    return wider(this.box, this.around(slab)).every((side, i) => side === this.box[i]);
  }

  /** A box that a slab lies in for sure: west, south, east, north. */
  around(slab) {
    const reach = this.reach_m;
    return [0, END]
      .map((i) => [slab[i] / 100, slab[i + 1] / 100])
      .map(([x, y]) => [x - reach, y - reach, x + reach, y + reach])
      .reduce(wider);
  }

  cover(slab) {
    const follows = this.before && [0, 1, 2].every((i) => slab[i] === this.before[END + i]);
    this.widths_m.forEach((_, section) => {
      const ratio = slab[FIRST + section];
      if (!ratio) {
        this.stroke[section] = null; // shut, or nothing came
        return;
      }
      const own = follows ? this.stroke[section] : null;
      const turned = own ? Math.abs(turn(own.heading, slab[HEADING_START])) : 0;
      if (!own || turned > TURNED_ROUND_DEG * 10) {
        this.stroke[section] = { number: this.strokes++, heading: slab[HEADING_START] };
      }
      this.coverage.fill(this.ring(slab, section), this.stroke[section].number);
    });
    this.before = slab;
  }

  /** The corners of a slab under a section, in metres east and north. */
  ring(slab, section) {
    const [left, right] = this.edges_m[section];
    const corner = (i, aside) => {
      const heading = (slab[i + 2] / 1800) * Math.PI;
      return [
        slab[i] / 100 + aside * Math.cos(heading),
        slab[i + 1] / 100 - aside * Math.sin(heading),
      ];
    };
    return [corner(0, left), corner(0, right), corner(END, right), corner(END, left)];
  }

  wanted(slab) {
    return slab[WANTED];
  }

  /** Applied over wanted, null where the section was not at work. */
  ratio(slab, section) {
    const permille = slab[FIRST + section];
    return permille === null || permille === undefined ? null : permille / 1000;
  }

  /** Square metres of a slab under a section. */
  area(slab, section) {
    const length = Math.hypot(slab[END] - slab[0], slab[END + 1] - slab[1]) / 100;
    return length * this.widths_m[section];
  }

  /** The newest slab and section at a place, null where there is none. */
  find(place) {
    for (let i = this.slabs.length - 1; i >= 0; i--) {
      for (let section = 0; section < this.widths_m.length; section++) {
        if (this.ratio(this.slabs[i], section) === null) continue;
        if (within(this.ring(this.slabs[i], section), place)) {
          return { slab: this.slabs[i], section };
        }
      }
    }
    return null;
  }
}

/** The box around two boxes, of which the first may be none. */
export function wider(all, box) {
  return all ? all.map((side, i) => Math[i < 2 ? "min" : "max"](side, box[i])) : box;
}

/** From a heading to another, the shorter way, in tenths of a degree. */
function turn(from, to) {
  return ((((to - from + 1800) % 3600) + 3600) % 3600) - 1800;
}

function within(ring, [x, y]) {
  let odd = false;
  ring.forEach(([x0, y0], i) => {
    const [x1, y1] = ring[(i + 1) % ring.length];
    if (y0 > y !== y1 > y && x < x0 + ((y - y0) * (x1 - x0)) / (y1 - y0)) odd = !odd;
  });
  return odd;
}
