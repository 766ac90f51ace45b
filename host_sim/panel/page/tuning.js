// The machine standing on the bench: it learns its pump, then how soon the flow follows.

import { byId, make } from "./dom.js";

const DOING = {
  preparing: "stopping, master off, then on \u2026",
  begun: "beginning \u2026",
  kept: "Kept: the machine works by it from now on. Master off, then on, and drive.",
  left: "Left as it was.",
};
// What a person may choose: word, example in metric and in US units.
const FIELDS = {
  pump_curve: [],
  step_test: [
    ["speed", ["8 km/h", "5 mph"]],
    ["settling time", ["1.5 s", "1.5 s"]],
  ],
};

export class Tuning {
  /** send(...command) asks for something. */
  constructor(send) {
    this.send = send;
    this.inputs = {};
    this.bench = null;
    this.procedure = null;
    for (const form of document.querySelectorAll("form[data-learn]")) this.prepare(form);
    for (const made of document.querySelectorAll("[data-keep]")) {
      made.addEventListener("click", () => send("keep", made.dataset.keep === "true"));
    }
  }

  prepare(form) {
    const name = form.dataset.learn;
    this.inputs[name] = FIELDS[name].map(([word, usual]) => {
      const input = make("input", { type: "text", className: "number", autocomplete: "off" });
      const label = make("label", { className: "field" }, make("span", {}, word), input);
      form.lastElementChild.before(label);
      return { word, usual, input };
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const given = this.inputs[name].map(({ word, input }) => `${word} = ${input.value}`);
      this.send("learn", name, given.join(", "), this.us);
    });
  }

  /** A real board is only shown: everything is begun, and kept, at the machine. */
  begin(twin) {
    this.twin = twin;
    this.bench = this.procedure = null;
    this.show();
  }

  use({ us }) {
    const before = this.us;
    this.us = us;
    for (const { usual, input } of Object.values(this.inputs).flat()) {
      if (before === undefined || input.value === usual[Number(before)])
        input.value = usual[Number(us)];
    }
    this.show();
  }

  /** What hands are doing, null where they have done nothing. */
  showBench(bench) {
    this.bench = bench;
    this.show();
  }

  /** What the controller tells of the procedure that it has, null for none. */
  showProcedure(procedure) {
    this.procedure = procedure;
    this.show();
  }

  show() {
    const { procedure } = this;
    const state = this.bench?.state;
    const over = ["kept", "left", "refused", "preparing"].includes(state);
    const runs = procedure?.state === "running";
    const done = procedure?.state === "done" && !over;
    byId("tune").hidden = !this.twin && !procedure;
    byId("tune-start").hidden = !this.twin;
    byId("tune-runs").hidden = !runs;
    byId("tune-part").value = (procedure?.permille ?? 0) / 1000;
    byId("tune-told").textContent = this.words(over);
    byId("tune-kept").hidden = !done || !this.twin;
    byId("tune-found").hidden = !done;
    if (done) this.showFound(procedure);
  }

  words(over) {
    const { bench, procedure } = this;
    if (bench?.state === "refused") return `Not begun: ${bench.why}`;
    if (over || !procedure) return DOING[bench?.state] ?? "";
    const part = `${Math.floor(procedure.permille / 10)} %`;
    if (procedure.state === "running") return `${procedure.words}: ${procedure.doing}, ${part}`;
    if (procedure.state === "done") return `${procedure.words}: done`;
    return `${procedure.words}: ${procedure.reason}`;
  }

  showFound({ found, changes }) {
    const unit = Number(this.us);
    const row = (kind, ...cells) => make("tr", {}, ...cells.map((cell) => make(kind, {}, cell)));
    byId("tune-found").replaceChildren(
      row("th", "measured", "", ""),
      ...found.map(([name, value]) => row("td", name, value[unit], "")),
      row("th", "to keep", "now", "new"),
      ...changes.map(([name, was, new_]) => row("td", name, was[unit], new_[unit])),
    );
  }
}
