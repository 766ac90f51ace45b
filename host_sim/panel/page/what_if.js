// The last minute with another setting: two strips and their figures, one above the other.

import { byId, make } from "./dom.js";
import { Way } from "./history.js";
import { Ribbon } from "./ribbon.js";
import { deviation } from "./units.js";

const REPLAYING = "replaying the minute twice \u2026";

// "learned.meter.k_factor" as people say it
const inWords = (key) => key.split(".").slice(1).join(" ").replaceAll("_", " ");
const percent = (value, digits) => (value === null ? "\u2013" : `${value.toFixed(digits)} %`);

export class WhatIf {
  constructor(send) {
    this.send = send;
    this.select = byId("other-setting");
    this.value = byId("other-value");
    this.sides = [];
    this.select.addEventListener("change", () => this.suggest());
    byId("what-if-form").addEventListener("submit", (event) => {
      event.preventDefault();
      byId("what-if-told").textContent = REPLAYING;
      send("what_if", `${this.select.value}=${this.value.value}`, this.units.us);
    });
  }

  begin(hello, units) {
    this.hello = hello;
    this.show(null);
    this.use(units);
  }

  /** The settings have become others: what can be asked about, in metric and in US units. */
  offer(settings) {
    this.hello.settings = settings;
    this.use(this.units);
  }

  use(units) {
    this.units = units;
    const chosen = this.select.value;
    this.settings = this.hello.settings[Number(units.us)];
    this.select.replaceChildren(
      ...this.settings.map(([key]) => new Option(inWords(key), key)),
    );
    this.select.value = this.settings.some(([key]) => key === chosen)
      ? chosen
      : "settings.settling_time";
    this.suggest();
    this.draw();
  }

  /** Put what the chosen setting is into the field, to be changed. */
  suggest() {
    const [, value, meaning] = this.settings.find(([key]) => key === this.select.value);
    this.value.value = value;
    byId("other-meaning").textContent = meaning;
  }

  /** Why it cannot be: whoever waits is told. */
  refuse() {
    if (byId("what-if-told").textContent === REPLAYING) byId("what-if-told").textContent = "";
  }

  /** found: what the two replays came to, null for none. */
  show(found) {
    byId("what-if-found").hidden = !found;
    byId("what-if-told").textContent = "";
    this.sides = [];
    if (!found) return;
    const name = inWords(found.name);
    const [was, now] = found.sides;
    byId("what-if-told").textContent =
      `With ${name} at ${now.words}, ${percent(now.within_pct, 1)} of the ground is within 5 %; ` +
      `as it is set, at ${was.words}, ${percent(was.within_pct, 1)}.`;
    byId("what-if-found").replaceChildren(
      ...found.sides.map((side, i) => this.side(name, side, i ? "changed" : "as it is set")),
    );
    this.draw();
  }

  side(name, side, how) {
    const canvas = make("canvas", { tabIndex: 0, role: "slider" });
    canvas.setAttribute("aria-label", `Rate on the ground with ${name} at ${side.words}`);
    canvas.setAttribute("aria-valuemin", 0);
    const reading = make("output", { className: "figure" });
    const ribbon = new Ribbon(canvas, reading);
    const way = new Way(1);
    for (const cell of side.cells) way.add(cell);
    this.sides.push({ ribbon, way, end_m: (way.cells.at(-1)?.[0] ?? 0) + 1 });
    const figures =
      `${percent(side.within_pct, 1)} of the ground within 5 %, ${percent(side.rms_pct, 2)} rms, ` +
      `${side.mean_pct === null ? "\u2013" : deviation(1 + side.mean_pct / 100)} on average` +
      (side.faults.length ? `; ${side.faults.join(", ")}` : "");
    return make(
      "figure",
      { className: "ribbon" },
      make("figcaption", {}, make("b", {}, `${how}: ${side.words}`), make("span", {}, figures)),
      canvas,
      make("figcaption", {}, reading),
    );
  }

  draw() {
    for (const { ribbon, way, end_m } of this.sides) {
      ribbon.begin(this.hello, this.units);
      ribbon.show(way, end_m, 0, this.units);
      ribbon.choose(null);
    }
  }
}
