// Puts the panel together: frames come in, its parts show them.

import { Buzzer } from "./buzzer.js";
import { Charts } from "./charts.js";
import { Controller } from "./controller.js";
import { button, byId, make, press } from "./dom.js";
import { FieldMap } from "./field_map.js";
import { GRAINS, History } from "./history.js";
import { Machine } from "./machine.js";
import { Ribbon } from "./ribbon.js";
import { Scenes } from "./scenes.js";
import { Shortcuts } from "./shortcuts.js";
import { Line } from "./line.js";
import { Sizing } from "./sizing.js";
import { Steps } from "./steps.js";
import { Tuning } from "./tuning.js";
import { Units, deviation } from "./units.js";
import { WhatIf } from "./what_if.js";

const REFUSED_MS = 4000;

const choices = (name) => document.querySelectorAll(`[data-${name}]`);

class Panel {
  constructor() {
    const tell = (open) => {
      this.tellLine(open ? "" : "connection lost, trying again");
      if (!open) this.buzzer.show(false);
    };
    this.line = new Line((frame) => this.take(frame), tell);
    const send = (...command) => this.line.send(...command);
    const refuse = (why) => this.refuse(why);
    this.machine = new Machine(send, refuse, (...which) => this.line.addressOf(...which), () => this.scenes.leave());
    this.scenes = new Scenes(byId("scenes"), send, (id) => this.lookAt(id));
    this.controller = new Controller(send, refuse);
    this.whatIf = new WhatIf(send);
    this.sizing = new Sizing(send);
    this.tuning = new Tuning(send);
    this.buzzer = new Buzzer();
    this.steps = new Steps(byId("steps"));
    this.ribbon = new Ribbon(byId("ribbon"), byId("reading"));
    this.charts = new Charts(byId("charts"));
    this.fieldMap = new FieldMap(send, refuse);
    this.shortcuts = new Shortcuts(this);
    this.whose = "true";
    this.grain = 0;
    this.us = null; // chosen on the page; else as the controller is set
    this.waiting = false;
    this.segments();
  }

  segments() {
    const ranges = GRAINS.map(({ name }, i) => button(name, "", () => this.see({ grain: i })));
    byId("ranges").replaceChildren(...ranges);
    for (const made of choices("whose")) {
      made.addEventListener("click", () => this.see({ whose: made.dataset.whose }));
    }
    for (const made of choices("view")) {
      made.addEventListener("click", () => this.view(made.dataset.view));
    }
    for (const made of choices("us")) {
      made.addEventListener("click", () => this.useUnits(made.dataset.us === "true"));
    }
  }

  /** Take what the server sends. */
  take(frame) {
    if (frame.hello) this.begin(frame.hello);
    if (frame.loading !== undefined) this.tellLoading(frame.loading);
    if (frame.lost !== undefined) this.tellLine(frame.lost);
    if (frame.refused) this.refuse(frame.refused);
    if (frame.size) this.sizing.show(frame.size);
    if (frame.what_if && this.twin) this.whatIf.show(frame.what_if);
    if (!this.hello) return;
    for (const row of frame.rows ?? []) this.addRow(row);
    for (const cell of frame.cells ?? []) this.history.addCell("true", cell);
    for (const cell of frame.believed ?? []) this.history.addCell("believed", cell);
    for (const whose of ["true", "believed"]) {
      for (const slab of frame[`${whose}_slabs`] ?? []) this.fieldMap.add(whose, slab);
      if (frame[`${whose}_bar`]) this.fieldMap.bar(whose, frame[`${whose}_bar`]);
    }
    if (frame.hands && this.twin) {
      this.fieldMap.showHands(frame.hands);
      this.machine.showHands(frame.hands);
      this.buzzer.show(frame.hands.buzzer);
      const shown = frame.hands.us ?? this.hello.us; // as another page has chosen
      if (this.us === null && shown !== this.units.us) this.useUnits(shown, false);
    }
    if (frame.drive && this.twin) this.machine.showDrive(frame.drive);
    if (frame.words?.display !== undefined) this.controller.showWords(frame.words);
    if (frame.words?.procedure !== undefined) this.tuning.showProcedure(frame.words.procedure);
    if (frame.settings && this.twin) this.whatIf.offer(frame.settings);
    if (frame.bench !== undefined) this.tuning.showBench(frame.bench);
    if (frame.rows?.length) this.showRow(frame.rows.length);
    if (!this.waiting) {
      this.waiting = true;
      requestAnimationFrame(() => this.draw());
    }
  }

  begin(hello) {
    this.hello = hello;
    this.twin = hello.kind === "twin";
    this.history = new History(hello.columns.length);
    this.columns = Object.fromEntries(hello.columns.map((name, i) => [name, i]));
    this.row = null;
    this.units = new Units(hello, this.us ?? hello.us);
    byId("title").textContent = hello.title;
    byId("machine").hidden = byId("steps").hidden = byId("whose").hidden = !this.twin;
    byId("only-shows").hidden = this.twin;
    byId("views").hidden = !this.twin;
    if (!this.twin) this.view("everything"); // there is nothing but figures
    document.querySelector(".halves").classList.toggle("alone", !this.twin);
    if (!this.twin) this.whose = "believed";
    for (const id of ["what-if", "size", "drive", "moments"]) byId(id).hidden = !this.twin;
    if (this.twin) this.machine.begin(hello, this.units);
    if (this.twin) this.whatIf.begin(hello, this.units);
    if (this.twin) this.sizing.begin(hello);
    this.tuning.begin(this.twin);
    this.controller.begin(hello, this.units);
    this.steps.begin(hello);
    this.scenes.begin(hello);
    this.ribbon.begin(hello, this.units);
    this.fieldMap.begin(hello, this.units);
    this.charts.begin(hello, this.units, this.whose);
    this.legend(hello.classes);
    this.useUnits(this.us ?? hello.us, this.us !== null);
    this.see({});
    this.tellLoading("");
    this.tellLine("");
  }

  /** On a phone: what is needed in the field on one screen, or everything, one below the other. */
  view(name) {
    document.body.classList.toggle("little", name === "little");
    for (const made of choices("view")) press(made, made.dataset.view === name);
    this.controller.display.draw();
    this.draw();
  }

  /** Bring a part of the page into sight. */
  lookAt(id) {
    this.view("everything");
    byId(id).scrollIntoView();
  }

  legend(classes) {
    byId("legend").replaceChildren(
      ...classes.map(([bound, colour, words], i) => {
        const patch = make("i");
        patch.style.background = colour;
        const last = i === classes.length - 1;
        const edge = make(
          "span",
          { ariaHidden: "true" },
          last ? "" : deviation(bound).replace(" %", ""),
        );
        return make("li", { title: words }, patch, make("b", { className: "hidden" }, words), edge);
      }),
    );
  }

  addRow(row) {
    this.history.addRow(row);
    this.controller.add(row);
    this.row = row;
  }

  /** Figures and words, as soon as they come. */
  showRow(rows) {
    this.controller.show();
    this.steps.show(this.value("permits"), this.controller.ratio, rows);
    if (!this.twin) return;
    this.machine.showSpeed(this.value("true_speed_mm_s"));
    const mean = (name) => this.units.number("rate_ml_ha", this.controller.mean(name));
    const asked = this.units.text("rate_ml_ha", this.value("rate_ml_ha"));
    byId("both").textContent =
      `now ${mean("true_applied_ml_ha")} in truth, ` +
      `${mean("applied_ml_ha")} as the controller believes, ${asked} asked`;
  }

  value(name) {
    return this.row[this.columns[name]];
  }

  /** Ribbon and charts, once for each picture of the screen. */
  draw() {
    this.waiting = false;
    if (!this.row) return;
    this.charts.show(this.history.tracks[this.grain], this.value("time_s"));
    const way = this.history.ways[this.whose][this.grain];
    this.ribbon.show(way, this.value("way_m"), this.value("section_mask"), this.units);
    this.fieldMap.draw();
  }

  /** Choose whose figures and how far back. */
  see({ whose = this.whose, grain = this.grain }) {
    this.whose = whose;
    this.grain = grain;
    for (const made of choices("whose")) press(made, made.dataset.whose === whose);
    [...byId("ranges").children].forEach((made, i) => press(made, i === grain));
    if (!this.hello) return;
    this.charts.set(this.units, whose, grain);
    this.draw();
  }

  otherSide() {
    if (this.twin) this.see({ whose: this.whose === "true" ? "believed" : "true" });
  }

  nextRange() {
    this.see({ grain: (this.grain + 1) % GRAINS.length });
  }

  useUnits(us, chosen = true) {
    if (chosen) {
      this.us = us;
      if (this.twin) this.line.send("units", us);
    }
    for (const made of choices("us")) press(made, (made.dataset.us === "true") === us);
    if (!this.hello) return;
    this.units = new Units(this.hello, us);
    if (this.twin) this.machine.use(this.units);
    if (this.twin) this.whatIf.use(this.units);
    if (this.twin) this.sizing.use(this.units);
    this.tuning.use(this.units);
    this.fieldMap.use(this.units);
    this.controller.use(this.units);
    this.see({});
  }

  tellLine(lost) {
    const line = byId("line");
    line.textContent = lost || (this.hello ? "live" : "waiting");
    line.className = `line ${lost ? "lost" : "live"}`;
  }

  /** What a twin in the page is waiting for, "" once it is there. */
  tellLoading(words) {
    byId("loading").hidden = !words;
    byId("loading-words").textContent = words;
  }

  refuse(why) {
    this.whatIf.refuse();
    this.sizing.refuse();
    this.machine.refused();
    const toast = byId("refused");
    toast.textContent = why;
    toast.hidden = false;
    clearTimeout(this.refusing);
    this.refusing = setTimeout(() => {
      toast.hidden = true;
    }, REFUSED_MS);
  }
}

// The token of the address has become a cookie; it need not stay in sight.
if (location.search) history.replaceState(null, "", location.pathname + location.hash);

export const panel = new Panel();
panel.line.open();
