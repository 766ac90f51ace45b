// The field from above, north up: what lies where, in truth and as the controller believes.
// Each map is painted bit by bit into a picture that is kept; a frame adds only what is new.

import { byId, make, press } from "./dom.js";
import { nice } from "./ribbon.js";
import { Swaths, wider } from "./swaths.js";
import { deviation } from "./units.js";

const SIDES = { true: "truth", believed: "controller\u2019s belief" };
const EDGE_PX = 26; // around the field: for the scale, and for north
const LEAST_PX = 200;
const MOST_SHARE = 0.9; // of its width is a map high at most
const MOST_PX = 440;
const START_M = 10; // around the bar at least
const NEAR_M = 25; // around the bar, where only that is looked at
const FIGURES_MS = 1000;
// ColorBrewer's YlGnBu in six classes, which it lists as safe for the colour-blind.
const RAMP = ["#ffffcc", "#c7e9b4", "#7fcdbb", "#41b6c4", "#2c7fb8", "#253494"];

export class FieldMap {
  /** send(...command) asks for something, refuse(why) tells why that cannot be. */
  constructor(send, refuse) {
    this.send = send;
    this.refuse = refuse;
    this.view = "deviation";
    this.near = false;
    this.shown = true; // is it in sight
    this.sides = {};
    new IntersectionObserver(([seen]) => {
      this.shown = seen.isIntersecting;
      if (this.shown) this.draw();
    }).observe(byId("field"));
    for (const made of document.querySelectorAll("[data-map]"))
      made.addEventListener("click", () => this.choose({ view: made.dataset.map }));
    for (const made of document.querySelectorAll("[data-near]"))
      made.addEventListener("click", () => this.choose({ near: made.dataset.near === "true" }));
    byId("spacing-form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.space();
    });
    for (const whose of Object.keys(SIDES)) {
      const canvas = byId(`map-${whose}`);
      canvas.addEventListener("pointermove", (event) => this.read(whose, event));
      canvas.addEventListener("pointerdown", (event) => this.read(whose, event));
    }
  }

  begin(hello, units) {
    this.hello = hello;
    this.units = units;
    this.twin = hello.kind === "twin";
    for (const whose of Object.keys(SIDES)) {
      this.sides[whose] = {
        swaths: new Swaths(hello.sections_mm),
        bar: { at: null, growing: null },
        picture: document.createElement("canvas"),
        painted: "",
        count: 0,
      };
    }
    this.spacing_mm = null;
    this.figures_ms = -Infinity;
    this.middle = null;
    byId("map-true").parentElement.hidden = !this.twin;
    byId("spacing-form").hidden = !this.twin;
    byId("field").hidden = !this.twin && !hello.follows_place;
    const own = "as the controller reckons its place, by its receiver and its wheel";
    const lent = "drawn where the machine truly was: this controller does not follow its place";
    byId("map-believed-place").textContent = hello.follows_place ? own : lent;
    byId("map-reading").textContent = "point at a map to read it";
  }

  use(units) {
    this.units = units;
    this.figures_ms = -Infinity;
    if (this.spacing_mm !== null) this.showSpacing();
    this.draw();
  }

  add(whose, slab) {
    this.sides[whose].swaths.add(slab);
  }

  bar(whose, bar) {
    this.sides[whose].bar = bar;
  }

  /** How far the next pass is from the last, as any page has set it. */
  showHands({ spacing_mm }) {
    if (spacing_mm === this.spacing_mm) return;
    this.spacing_mm = spacing_mm;
    this.showSpacing();
  }

  showSpacing() {
    byId("spacing").value = this.units.number("width_mm", this.spacing_mm);
  }

  space() {
    const { value, why } = this.units.typed("width_mm", byId("spacing").value, this.hello.limits);
    if (why) this.refuse(`next pass: ${why}`);
    else this.send("spacing", value / 1000);
  }

  choose({ view = this.view, near = this.near }) {
    this.view = view;
    this.near = near;
    this.middle = null;
    for (const made of document.querySelectorAll("[data-map]"))
      press(made, made.dataset.map === view);
    for (const made of document.querySelectorAll("[data-near]"))
      press(made, (made.dataset.near === "true") === near);
    this.figures_ms = -Infinity;
    this.draw();
  }

  /** Both maps, once for each picture of the screen, where they are in sight. */
  draw() {
    if (!this.hello || !this.shown || byId("field").hidden) return;
    const box = this.box();
    if (!box) return;
    const now = performance.now();
    const due = now - this.figures_ms >= FIGURES_MS;
    if (due) {
      this.figures_ms = now;
      this.bounds = this.ramp();
      this.legend();
    }
    for (const whose of Object.keys(SIDES)) {
      if (byId(`map-${whose}`).offsetParent) this.drawSide(whose, box, due);
    }
    if (due) this.figures();
  }

  /** What is to be seen: west, south, east, north; null as long as nobody knows where it is. */
  box() {
    const sides = Object.values(this.sides);
    const at = sides.find(({ bar }) => bar.at)?.bar.at;
    if (this.near && at) {
      const place = [at[0] / 100, at[1] / 100];
      const gone = this.middle && Math.hypot(place[0] - this.middle[0], place[1] - this.middle[1]);
      if (!this.middle || gone > NEAR_M / 2) this.middle = place;
      const [x, y] = this.middle;
      return [x - NEAR_M, y - NEAR_M, x + NEAR_M, y + NEAR_M];
    }
    let all = null;
    for (const { swaths, bar } of sides) {
      if (swaths.extent) all = wider(all, swaths.extent);
      if (!bar.at) continue;
      const [x, y] = [bar.at[0] / 100, bar.at[1] / 100];
      all = wider(all, [x - START_M, y - START_M, x + START_M, y + START_M]);
    }
    if (!all) return null;
    // In steps, so that the picture is seldom painted anew.
    const step = nice(Math.max(all[2] - all[0], all[3] - all[1]) / 8);
    return all.map((side, i) => step * (i < 2 ? Math.floor(side / step) : Math.ceil(side / step)));
  }

  drawSide(whose, box, due) {
    const side = this.sides[whose];
    const canvas = byId(`map-${whose}`);
    const width = canvas.clientWidth;
    const [west, south, east, north] = box;
    const most = Math.min(MOST_PX, Math.max(LEAST_PX, MOST_SHARE * width));
    const wish = ((north - south) / (east - west)) * (width - 2 * EDGE_PX) + 2 * EDGE_PX;
    const height = Math.round(Math.min(Math.max(wish, LEAST_PX), most));
    canvas.style.height = `${height}px`;
    const ratio = devicePixelRatio;
    const per_m = Math.min(
      (width - 2 * EDGE_PX) / (east - west),
      (height - 2 * EDGE_PX) / (north - south),
    );
    const middle = [(west + east) / 2, (south + north) / 2];
    side.place = ([x, y]) => [
      width / 2 + (x - middle[0]) * per_m,
      height / 2 - (y - middle[1]) * per_m,
    ];
    side.ground = ([x, y]) => [
      middle[0] + (x - width / 2) / per_m,
      middle[1] - (y - height / 2) / per_m,
    ];
    this.paint(side, [width, height, ratio], box, per_m, due);
    if (canvas.width !== side.picture.width || canvas.height !== side.picture.height) {
      canvas.width = side.picture.width;
      canvas.height = side.picture.height;
    }
    const context = canvas.getContext("2d");
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, canvas.width, canvas.height);
    context.drawImage(side.picture, 0, 0);
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    const ink = getComputedStyle(canvas);
    if (side.bar.growing && this.view !== "covered") this.paintSlab(context, side, side.bar.growing);
    this.drawBar(context, ink, side);
    this.drawScale(context, ink, width, height, per_m);
    this.drawNorth(context, ink, width);
  }

  /** Bring the picture that is kept up to date: from its beginning where anything has moved. */
  paint(side, [width, height, ratio], box, per_m, due) {
    const { picture, swaths } = side;
    const frame = [width, height, ratio, ...box, this.view, swaths.letGo, this.bounds?.join()];
    const context = picture.getContext("2d");
    const anew = side.painted !== frame.join();
    if (anew) {
      picture.width = Math.round(width * ratio);
      picture.height = Math.round(height * ratio);
      side.painted = frame.join();
      side.count = 0;
    }
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    if (this.view === "covered") {
      if (anew || due) this.paintCoverage(context, side, [width, height], per_m);
      return;
    }
    for (; side.count < swaths.slabs.length; side.count++) {
      this.paintSlab(context, side, swaths.slabs[side.count]);
    }
  }

  paintSlab(context, { swaths, place }, slab) {
    swaths.widths_m.forEach((_, section) => {
      const ratio = swaths.ratio(slab, section);
      if (ratio === null) return;
      context.beginPath();
      for (const corner of swaths.ring(slab, section)) context.lineTo(...place(corner));
      context.closePath();
      context.fillStyle = context.strokeStyle = this.colour(swaths.wanted(slab), ratio);
      context.lineWidth = 0.6; // thin ones stay in sight, and no gap shows between two
      context.fill();
      context.stroke();
    });
  }

  colour(wanted, ratio) {
    if (this.view === "deviation") return this.hello.classes.find(([bound]) => ratio < bound)[1];
    const rate = this.view === "wanted" ? wanted : wanted * ratio;
    const shown = rate * this.units.factor("rate_ml_ha");
    const at = this.bounds.findIndex((bound) => shown < bound);
    return RAMP[at < 0 ? RAMP.length - 1 : at];
  }

  /** The upper bounds of the classes of a rate, round numbers of the unit that is shown; the
      highest wanted rate is not near to one, or every tremble of it would change the colour. */
  ramp() {
    let most = 0;
    for (const { swaths } of Object.values(this.sides)) {
      for (const slab of swaths.slabs) most = Math.max(most, swaths.wanted(slab));
    }
    const shown = most * this.units.factor("rate_ml_ha");
    const step = nice((1.2 * shown || 1) / RAMP.length);
    const off = Math.abs(shown / step - Math.round(shown / step)) < 0.25 ? 0.5 : 0;
    return RAMP.map((_, i) => step * (i + 1 - off));
  }

  /** Cells that were covered, once or more often; what was skipped is hatched besides. */
  paintCoverage(context, { swaths, place }, [width, height], per_m) {
    context.clearRect(0, 0, width, height);
    const { coverage } = swaths;
    if (!coverage) return;
    const { columns, rows, times, cell_m } = coverage;
    const bare = coverage.skipped();
    const colours = this.hello.covered.map(([colour]) => parse(colour));
    const image = new ImageData(columns, rows);
    for (let row = 0; row < rows; row++) {
      for (let column = 0; column < columns; column++) {
        const cell = row * columns + column;
        const hatched = bare[cell] && (column + row) % 4 < 2;
        const kind = times[cell] ? Math.min(times[cell], 2) : hatched ? 3 : 0;
        if (kind) image.data.set(colours[kind - 1], 4 * ((rows - 1 - row) * columns + column));
      }
    }
    const small = document.createElement("canvas");
    [small.width, small.height] = [columns, rows];
    small.getContext("2d").putImageData(image, 0, 0);
    const [x, y] = place([coverage.west, coverage.south + rows * cell_m]);
    context.imageSmoothingEnabled = cell_m * per_m < 1;
    context.drawImage(small, x, y, columns * cell_m * per_m, rows * cell_m * per_m);
  }

  /** The bar, and where it is heading. */
  drawBar(context, ink, { bar, swaths, place }) {
    if (!bar.at) return;
    const [x, y] = place([bar.at[0] / 100, bar.at[1] / 100]);
    const heading = (bar.at[2] / 1800) * Math.PI;
    const half = Math.max(Math.abs(place([swaths.reach_m, 0])[0] - place([0, 0])[0]), 5);
    context.save();
    context.translate(x, y);
    context.rotate(heading);
    context.fillStyle = context.strokeStyle = ink.color;
    context.lineWidth = 2.5;
    context.beginPath();
    context.moveTo(-half, 0);
    context.lineTo(half, 0);
    context.stroke();
    context.beginPath();
    context.moveTo(-4.5, -1);
    context.lineTo(0, -11);
    context.lineTo(4.5, -1);
    context.fill();
    context.restore();
  }

  /** A bar of a round length. */
  drawScale(context, ink, width, height, per_m) {
    const factor = this.units.factor("distance_mm") * 1000; // shown units in a metre
    const most = ((width / 3) * factor) / per_m;
    const length = nice(most) > most ? nice(most / 2.5) : nice(most);
    const pixels = (length / factor) * per_m;
    const y = height - 9;
    context.fillStyle = ink.color;
    context.fillRect(10, y - 1, pixels, 3);
    context.fillRect(10, y - 4, 1, 9);
    context.fillRect(9 + pixels, y - 4, 1, 9);
    context.font = `12px ${ink.fontFamily}`;
    context.textBaseline = "middle";
    const round = Number(length.toPrecision(3));
    context.fillText(`${round} ${this.units.label("distance_mm")}`, 16 + pixels, y + 0.5);
  }

  drawNorth(context, ink, width) {
    const x = width - 14;
    context.fillStyle = context.strokeStyle = ink.color;
    context.lineWidth = 1.5;
    context.beginPath();
    context.moveTo(x, 38);
    context.lineTo(x, 24);
    context.stroke();
    context.beginPath();
    context.moveTo(x - 4, 27);
    context.lineTo(x, 18);
    context.lineTo(x + 4, 27);
    context.fill();
    context.font = `600 12px ${ink.fontFamily}`;
    context.textBaseline = "alphabetic";
    context.textAlign = "center";
    context.fillText("N", x, 14);
    context.textAlign = "start";
  }

  /** Colours and what they mean, with the unit. */
  classes() {
    if (this.view === "deviation") return this.hello.classes.map(([, colour, words]) => [colour, words]);
    if (this.view === "covered") return this.hello.covered;
    const unit = this.units.label("rate_ml_ha");
    return RAMP.map((colour, i) => {
      const bound = (at) => Number(this.bounds[at].toPrecision(3));
      if (i === RAMP.length - 1) return [colour, `${bound(i - 1)} ${unit} and more`];
      return [colour, `${i ? bound(i - 1) : 0} to ${bound(i)} ${unit}`];
    });
  }

  legend() {
    const words = this.classes();
    if (this.legendShown === words.join()) return;
    this.legendShown = words.join();
    byId("map-legend").replaceChildren(
      ...words.map(([colour, text], i) => {
        const patch = make("i", { className: this.view === "covered" && i === 2 ? "hatched" : "" });
        patch.style.setProperty("--patch", colour);
        return make("li", {}, patch, text);
      }),
    );
  }

  /** The maps in words and figures, for who does not see them, and for who wants to know. */
  figures() {
    const found = Object.fromEntries(Object.entries(this.sides).map(([whose, side]) => {
      const told = sums(side.swaths, this.hello.classes);
      byId(`map-${whose}`).ariaLabel = `Map, ${SIDES[whose]}: ${this.words(side, told)}`;
      return [whose, told];
    }));
    const sides = Object.keys(SIDES).filter((whose) => this.twin || whose === "believed");
    const row = (head, cell) => make("tr", {}, make("th", { scope: "row" }, head),
      ...sides.map((whose) => make("td", {}, cell(found[whose]))));
    const share = (one, all) => (all ? `${((100 * one) / all).toFixed(1)} %` : "\u2013");
    byId("map-figures").replaceChildren(
      make("tr", {}, make("td", {}, ""), ...sides.map((whose) =>
        make("th", { scope: "col" }, SIDES[whose]))),
      row("ground covered", ({ ground }) => this.areaText(ground)),
      row("covered again", ({ again }) => this.areaText(again)),
      row("skipped, between swaths", ({ skipped }) => this.areaText(skipped)),
      ...this.hello.classes.map(([, , words], i) =>
        row(words, ({ of, area }) => share(of[i], area))),
    );
    const gone = this.sides[this.twin ? "true" : "believed"].swaths.letGo;
    byId("map-let-go").hidden = !gone;
  }

  words({ bar, swaths }, { ground, again, skipped, of, area }) {
    if (!swaths.slabs.length) {
      return bar.at ? "nothing lies on the ground yet" : "its place is not known";
    }
    const within = of[this.hello.classes.findIndex(([bound]) => bound > 1)];
    return `${this.areaText(ground)} covered, ${this.areaText(again)} covered again, ` +
      `${this.areaText(skipped)} skipped; ${Math.round((100 * within) / area)} % of the ground ` +
      "within 5 % of the wanted rate";
  }

  areaText(area_m2) {
    const shown = area_m2 * this.units.factor("area_m2");
    return `${shown.toFixed(4)} ${this.units.label("area_m2")}`;
  }

  /** Put the place under the pointer in words. */
  read(whose, { offsetX, offsetY }) {
    const { swaths, ground } = this.sides[whose];
    if (!ground) return;
    const place = ground([offsetX, offsetY]);
    const found = swaths.find(place);
    let text = `${SIDES[whose]}: nothing was wanted here`;
    if (found) {
      const ratio = swaths.ratio(found.slab, found.section);
      const wanted = swaths.wanted(found.slab);
      const times = swaths.coverage.at(place);
      const often = times > 1 ? `, covered ${times} times` : "";
      text = `${SIDES[whose]}, section ${found.section + 1}: ` +
        `${this.units.number("rate_ml_ha", wanted * ratio)} of ` +
        `${this.units.text("rate_ml_ha", wanted)}, ${deviation(ratio)}${often}`;
    }
    byId("map-reading").textContent = text;
  }
}

/** Square metres of a map: covered, covered again, skipped, and those of each class of the rate. */
export function sums(swaths, classes) {
  const of = classes.map(() => 0);
  let area = 0;
  for (const slab of swaths.slabs) {
    swaths.widths_m.forEach((_, section) => {
      const ratio = swaths.ratio(slab, section);
      if (ratio === null) return;
      const part = swaths.area(slab, section);
      of[classes.findIndex(([bound]) => ratio < bound)] += part;
      area += part;
    });
  }
  const none = { ground: 0, again: 0, skipped: 0 };
  return { ...(swaths.coverage?.areas() ?? none), of, area };
}

/** Red, green, blue and full opacity of "#rrggbb". */
function parse(colour) {
  return [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16)).concat(255);
}
