// The half of the controller: what it knows and does, all of it as told over the link.

import { Display } from "./display.js";
import { byId, make, showAll } from "./dom.js";

const WITHIN = 0.05;
const GAUGE = 0.2; // either side
const MEAN_ROWS = 5; // half a second

export class Controller {
  /** send(...command) asks for something, refuse(why) tells why that cannot be. */
  constructor(send, refuse) {
    this.display = new Display(byId("display"));
    this.recent = [];
    for (const button of document.querySelectorAll("[data-key]")) {
      button.addEventListener("click", () => send("key", button.dataset.key));
    }
    byId("ask").addEventListener("submit", (event) => {
      event.preventDefault();
      const { value, why } = this.units.typed("rate_ml_ha", byId("rate").value, this.hello.limits);
      if (why) refuse(`asked: ${why}`);
      else send("rate", value);
      byId("rate").blur();
    });
  }

  begin(hello, units) {
    this.hello = hello;
    this.columns = Object.fromEntries(hello.columns.map((name, i) => [name, i]));
    this.recent = [];
    this.state = null;
    this.display.begin(hello);
    this.use(units);
    const board = hello.kind === "board";
    byId("keypad").hidden = byId("ask").hidden = board;
    byId("asked-only").hidden = !board;
    byId("pressure").hidden = byId("outlets-pass").hidden = !hello.senses_pressure;
    byId("front").hidden = byId("buzzer").hidden = byId("tank-count").hidden = board;
    this.totals = null;
    this.faults = [];
    showAll("drive-name", hello.pump ? "duty" : "valve");
  }

  use(units) {
    this.units = units;
    for (const element of document.querySelectorAll("[data-unit]")) {
      element.textContent = units.label(element.dataset.unit);
    }
    this.asked = null;
    this.showTotals();
    if (this.row) this.show();
  }

  /** Applied over asked; null where nothing is applied. */
  get ratio() {
    const applied = this.mean("applied_ml_ha");
    return applied === null ? null : applied / this.value("rate_ml_ha");
  }

  /** The mean of the last rows, null where one of them has no such number. */
  mean(name) {
    const values = this.recent.map((row) => row[this.columns[name]]);
    if (!values.length || values.includes(null)) return null;
    return values.reduce((sum, value) => sum + value, 0) / values.length;
  }

  value(name) {
    return this.row[this.columns[name]];
  }

  add(row) {
    this.recent.push(row);
    if (this.recent.length > MEAN_ROWS) this.recent.shift();
    this.row = row;
  }

  show() {
    const { units } = this;
    const ratio = this.ratio;
    const applied = ratio === null ? null : ratio * this.value("rate_ml_ha");
    showAll("applied-number", units.number("rate_ml_ha", applied));
    showAll("applied", units.number("rate_ml_ha", applied));
    showAll("asked", units.text("rate_ml_ha", this.value("rate_ml_ha")));
    showAll("speed", units.text("speed_mm_s", this.value("speed_mm_s")));
    showAll("flow", units.text("flow_ul_s", this.value("flow_ul_s")));
    showAll("remark", this.remark());
    showAll(
      "drive",
      units.text("duty_u16", this.value(this.hello.pump ? "duty_u16" : "position_u16")),
    );
    showAll(
      "supply",
      this.value("supply_mv") ? units.text("supply_mv", this.value("supply_mv")) : "not measured",
    );
    if (this.hello.senses_pressure) this.showPressure();
    const open = this.hello.sections_mm.map((_, i) =>
      (this.value("section_mask") >> i) & 1 ? i + 1 : "\u2013",
    );
    showAll("open", open.join(" "));
    document.querySelector(".big").classList.toggle("none", applied === null);
    this.showNeedle(ratio);
    this.showState();
    this.showFaults();
    this.showAsked();
  }

  /** What the sensor reads, and what the outlets pass of what new ones would. */
  showPressure() {
    const [pascal, permille] = [this.value("pressure_pa"), this.value("outlet_permille")];
    showAll("pressure", pascal < 0 ? "no signal" : this.units.text("pressure_pa", pascal));
    showAll("outlets-pass", this.units.text("share_permille", permille || null));
  }

  remark() {
    if (this.value("coasting")) return "coasting";
    return { 1: "all it can", [-1]: "the least it can" }[this.value("saturated")] ?? "";
  }

  showNeedle(ratio) {
    const needle = byId("needle");
    needle.hidden = ratio === null;
    if (ratio === null) return;
    const place = Math.min(Math.max((ratio - 1) / GAUGE, -1), 1);
    needle.style.left = `${50 + 50 * place}%`;
    needle.classList.toggle("within", Math.abs(ratio - 1) <= WITHIN);
  }

  showState() {
    const state = this.hello.states[this.value("state")];
    if (state === this.state) return;
    this.state = state;
    showAll("state", state);
    for (const element of document.querySelectorAll("[data-show=state]"))
      element.className = `state ${state}`;
  }

  /** The field of the asked rate follows the controller, unless somebody is typing there. */
  showAsked() {
    const rate = this.value("rate_ml_ha");
    if (rate === this.asked || document.activeElement === byId("rate")) return;
    this.asked = rate;
    byId("rate").value = this.units.number("rate_ml_ha", rate);
  }

  /** The sums of the job, as the controller keeps them. */
  showTotals() {
    for (const [quantity, value] of Object.entries(this.totals ?? {}))
      showAll(quantity, this.units.text(quantity, value));
  }

  showWords(words) {
    this.totals = words.totals;
    this.showTotals();
    if (words.display) byId("front").hidden = false;
    this.display.show(words.display);
    list(
      byId("missing"),
      words.missing.map((text) => ({ text })),
      "nothing: outputs may be on",
    );
    this.faults = words.faults;
    this.showFaults();
    const missing = words.missing.length ? `: ${words.missing.join(", ")}` : "";
    const said = `${words.state}${missing}`;
    if (byId("said").textContent !== said) byId("said").textContent = said;
  }

  /** What is wrong by the controller, then what its pressure sensor says of outlets and filter. */
  showFaults() {
    const entries = this.faults.map(({ words: text, blocking }) => {
      const [what, todo] = text.split(": ");
      return {
        text: what,
        more: todo && `look at: ${todo}`,
        kind: blocking ? "blocking" : "warning",
      };
    });
    const says = this.row && this.hello.pressure_says[this.value("pressure_says")];
    if (says) entries.push({ text: says, kind: "warning" });
    list(byId("faults"), entries, "none");
  }
}

/** Fill a list, but leave it alone where nothing has changed: it would be read out again. */
function list(element, entries, none) {
  const key = JSON.stringify(entries);
  if (element.dataset.key === key) return;
  element.dataset.key = key;
  const items = entries.map(({ text, more, kind = "" }) =>
    make("li", { className: kind }, text, ...(more ? [make("small", {}, more)] : [])),
  );
  if (!items.length) items.push(make("li", { className: "none" }, none));
  element.replaceChildren(...items);
}
