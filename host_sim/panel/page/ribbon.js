// The ground behind the machine, seen from above: distance along, sections across, and as colour
// what lies there against what was asked for.

import { deviation } from "./units.js";

const CELL_PX = 3;
const GAP_PX = 2;
const SCALE_PX = 18; // below the sections
const MACHINE_PX = 12; // room ahead of it
const NAMES_PX = 20; // left of the strip

export class Ribbon {
  constructor(canvas, reading) {
    this.canvas = canvas;
    this.reading = reading;
    this.chosen = null; // number of a cell
    canvas.addEventListener("pointermove", (event) => this.choose(this.cellAt(event.offsetX)));
    canvas.addEventListener("pointerdown", (event) => this.choose(this.cellAt(event.offsetX)));
    canvas.addEventListener("pointerleave", () => this.choose(null));
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  begin(hello, units) {
    this.widths = hello.sections_mm;
    this.classes = hello.classes;
    this.units = units;
    this.way = null;
    this.chosen = null;
  }

  /** way: the cells to show; at_m: where the machine is; open: mask of its open sections. */
  show(way, at_m, open, units) {
    this.way = way;
    this.units = units;
    this.open = open;
    this.at = at_m / way.cell_m;
    // The right edge, in cells: the strip fills up first, then it moves on.
    this.end = Math.max(
      this.at + MACHINE_PX / CELL_PX,
      (this.canvas.clientWidth - NAMES_PX) / CELL_PX,
    );
    this.canvas.ariaValueMax = Math.floor(this.at);
    this.draw();
    if (this.chosen !== null) this.read();
  }

  cellAt(x) {
    return Math.floor(this.end - (this.canvas.clientWidth - x) / CELL_PX);
  }

  placeOf(number) {
    return this.canvas.clientWidth - (this.end - number) * CELL_PX;
  }

  key(event) {
    const steps = { ArrowLeft: -1, ArrowRight: 1, PageUp: -10, PageDown: 10 };
    const last = Math.floor(this.at) - 1;
    const first = this.cellAt(NAMES_PX) + 1;
    let chosen = this.chosen ?? last + 1;
    if (event.key in steps) chosen += steps[event.key] * (event.shiftKey ? 10 : 1);
    else if (event.key === "Home") chosen = first;
    else if (event.key === "End") chosen = last;
    else if (event.key === "Escape") chosen = null;
    else return;
    event.preventDefault();
    event.stopPropagation();
    this.choose(chosen === null ? null : Math.min(Math.max(chosen, first, 0), Math.max(last, 0)));
  }

  choose(number) {
    this.chosen = number !== null && number < 0 ? null : number;
    if (!this.way) return;
    this.draw();
    this.read();
  }

  /** Put the chosen cell in words. */
  read() {
    const place = (number) => this.units.text("distance_mm", number * this.way.cell_m * 1000);
    let text = "point at the ribbon to read it";
    if (this.chosen !== null) {
      const cell = this.way.find(this.chosen);
      const words = this.widths.map(
        (_, i) => `section ${i + 1}: ${deviation(cell?.[i + 1] ?? null)}`,
      );
      const worst = this.way.cell_m > 1 ? `, the worst of ${this.way.cell_m} m` : "";
      const found = cell ? words.join(", ") : "nothing to be applied";
      text = `at ${place(this.chosen)}${worst}: ${found}`;
    }
    this.reading.textContent = text;
    this.canvas.setAttribute("aria-valuetext", text);
    this.canvas.setAttribute("aria-valuenow", this.chosen ?? 0);
  }

  colour(ratio) {
    return this.classes.find(([bound]) => ratio < bound)[1];
  }

  draw() {
    const { canvas, way } = this;
    const ratio = devicePixelRatio;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (
      canvas.width !== Math.round(width * ratio) ||
      canvas.height !== Math.round(height * ratio)
    ) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const context = canvas.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    const style = getComputedStyle(canvas);
    const tops = this.rows(height - SCALE_PX);
    for (let i = way.cells.length - 1; i >= 0; i--) {
      const x = this.placeOf(way.cells[i][0]);
      if (x < NAMES_PX - CELL_PX) break;
      for (let section = 0; section < tops.length; section++) {
        const value = way.cells[i][section + 1];
        if (value === null || value === undefined) continue;
        context.fillStyle = this.colour(value);
        context.fillRect(x, tops[section].top, CELL_PX + 0.5, tops[section].height);
      }
    }
    this.drawMachine(context, style, tops);
    this.drawScale(context, style, width, height);
    this.drawNames(context, style, tops, height);
    if (this.chosen !== null) {
      context.strokeStyle = style.color;
      context.lineWidth = 1.5;
      context.strokeRect(this.placeOf(this.chosen) - 0.5, 1, CELL_PX + 1, height - SCALE_PX - 2);
    }
  }

  /** The machine at the head of the strip: its open sections filled. */
  drawMachine(context, style, tops) {
    const x = this.placeOf(this.at) + 1;
    context.fillStyle = context.strokeStyle = style.getPropertyValue("--ink");
    context.lineWidth = 1;
    tops.forEach(({ top, height }, i) => {
      if ((this.open >> i) & 1) context.fillRect(x, top, 5, height);
      else context.strokeRect(x + 0.5, top + 0.5, 4, height - 1);
    });
  }

  /** Top and height of each section, as wide across as it is on the machine. */
  rows(height) {
    const total = this.widths.reduce((sum, width) => sum + width, 0);
    const room = height - GAP_PX * (this.widths.length + 1);
    let top = GAP_PX;
    return this.widths.map((width) => {
      const row = { top, height: (room * width) / total };
      top += row.height + GAP_PX;
      return row;
    });
  }

  drawNames(context, style, tops, height) {
    context.fillStyle = style.getPropertyValue("--sunk");
    context.fillRect(0, 0, NAMES_PX, height - SCALE_PX);
    context.font = `600 11px ${style.fontFamily}`;
    context.textBaseline = "middle";
    context.fillStyle = style.getPropertyValue("--ink");
    tops.forEach(({ top, height: high }, i) => context.fillText(i + 1, 7, top + high / 2 + 0.5));
  }

  /** Round distances below the sections. */
  drawScale(context, style, width, height) {
    const perUnit = this.units.factor("distance_mm") * 1000 * this.way.cell_m; // shown, a cell
    const step = nice((110 / CELL_PX) * perUnit);
    context.font = `11px ${style.fontFamily}`;
    context.fillStyle = context.strokeStyle = style.getPropertyValue("--muted");
    context.textBaseline = "bottom";
    context.lineWidth = 1;
    const end = this.end * perUnit;
    for (let mark = Math.floor((this.at * perUnit) / step) * step; mark >= 0; mark -= step) {
      const x = width - ((end - mark) / perUnit) * CELL_PX;
      if (x < NAMES_PX - 1) break;
      context.fillRect(x, height - SCALE_PX, 1, 4);
      const text = `${mark} ${this.units.label("distance_mm")}`;
      if (x + context.measureText(text).width + 6 < width)
        context.fillText(text, x + 4, height - 1);
    }
  }
}

/** A round step of at least this size. */
export function nice(least) {
  const decade = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].find((digit) => digit * decade >= least) * decade;
}
