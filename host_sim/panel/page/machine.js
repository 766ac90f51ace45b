// The half of the machine: everything that hands can do to it. The twin only.

import { button, byId, make, press, showAll } from "./dom.js";
import { clock } from "./units.js";

const REPORT = "report.html";
const FACTORS = [0.25, 0.5, 1, 2, 5, 10, 20];

export class Machine {
  /** send(...command) asks for something, refuse(why) tells why that cannot be, addressOf(saved,
      file) tells where a file of a saved drive is, leave() is told that a person has started over. */
  constructor(send, refuse, addressOf, leave) {
    this.send = send;
    this.refuse = refuse;
    this.addressOf = addressOf;
    this.hands = null;
    byId("master").addEventListener("click", () => this.toggle("master"));
    byId("implement").addEventListener("click", () => this.toggle("implement"));
    byId("throttle").addEventListener("input", () =>
      send("throttle", byId("throttle").valueAsNumber / 100),
    );
    byId("go").addEventListener("click", () => this.go());
    byId("speed").addEventListener("keydown", (event) => event.key === "Enter" && this.go());
    byId("recorded").addEventListener("click", () => this.follow());
    byId("tank").addEventListener("input", () => send("tank", byId("tank").valueAsNumber));
    byId("refill").addEventListener("click", () => send("tank", this.hello.tank_l));
    Object.assign(byId("factor"), { min: 0, max: FACTORS.length - 1, step: 1 });
    byId("factor").addEventListener("input", () =>
      send("factor", FACTORS[byId("factor").valueAsNumber]),
    );
    byId("restart").addEventListener("click", () => {
      send("restart");
      leave();
    });
    byId("save").addEventListener("click", () => send("save", this.units.us));
    byId("save-report").addEventListener("click", () => {
      this.reporting = true;
      send("save", this.units.us);
    });
  }

  begin(hello, units) {
    this.hello = hello;
    this.units = units;
    this.hands = null;
    byId("tank").max = hello.tank_l;
    byId("recorded").title = hello.recording;
    byId("sections").replaceChildren(
      ...hello.sections_mm.map((width, i) => this.sectionSwitch(width, i)),
    );
    byId("fields").replaceChildren(...hello.fields.map((name) => this.field(name)));
    const hang = button("program hangs", "chip", () => this.send("hang"));
    byId("troubles").replaceChildren(
      ...hello.troubles.map((trouble) => this.trouble(trouble)),
      hang,
    );
    byId("outlets").replaceChildren(...hello.sections_mm.map((_, i) => this.outlets(i)));
  }

  use(units) {
    const before = this.units;
    this.units = units;
    const speed = byId("speed");
    if (before && before.us !== units.us) {
      const { value } = before.typed("speed_mm_s", speed.value, this.hello.limits);
      speed.value = units.number("speed_mm_s", value ?? 0);
    }
    this.hello.sections_mm.forEach((width_mm, i) => {
      const made = document.querySelector(`[data-section="${i}"]`);
      made.title = `${units.text("width_mm", width_mm)} wide`;
    });
  }

  sectionSwitch(width_mm, i) {
    const made = button(i + 1, "section", () => this.toggleSection(i));
    made.dataset.section = i;
    made.title = `${this.units.text("width_mm", width_mm)} wide`;
    made.setAttribute("aria-label", `Section ${i + 1}`);
    made.setAttribute("aria-keyshortcuts", i + 1);
    return made;
  }

  field(name) {
    const made = button(`${name} field`, "chip", () => this.send("field", name));
    made.dataset.field = name;
    press(made, false);
    return made;
  }

  trouble([name, words]) {
    const made = button(words, "chip", () =>
      this.send("trouble", name, !this.hands.troubles.includes(name)),
    );
    made.dataset.trouble = name;
    press(made, false);
    return made;
  }

  outlets(i) {
    const choices = this.hello.outlets.map(([factor, words]) => new Option(words, factor));
    const select = make("select", {}, ...choices);
    select.addEventListener("change", () => this.send("outlets", i, Number(select.value)));
    return make("label", { className: "outlet" }, `outlets of ${i + 1}`, select);
  }

  toggle(name) {
    if (!this.hands) return;
    this.hands[name] = !this.hands[name]; // what the server tells a moment later
    this.send(name, this.hands[name]);
  }

  toggleSection(i) {
    if (!this.hands) return;
    this.hands.sections[i] = !this.hands.sections[i];
    this.send("section", i, this.hands.sections[i]);
  }

  go() {
    const { value, why } = this.units.typed("speed_mm_s", byId("speed").value, this.hello.limits);
    if (why) this.refuse(`speed: ${why}`);
    else this.send("speed", value / 1000);
  }

  follow() {
    if (this.hands.mode === "recorded") this.send("throttle", 0);
    else this.send("recorded");
  }

  /** Some more or less throttle. */
  nudge(by) {
    this.send("nudge", by);
  }

  /** The next time factor up or down. */
  pace(by) {
    const factor = FACTORS[FACTORS.indexOf(this.hands.factor) + by];
    if (!factor) return;
    this.hands.factor = factor;
    this.send("factor", factor);
  }

  /** How everything stands; two pages may have their hands on it. */
  showHands(hands) {
    this.hands = hands;
    const levels = { master: ["off", "on"], implement: ["up", "down"] };
    for (const [id, words] of Object.entries(levels)) {
      press(byId(id), hands[id]);
      byId(id).querySelector("em").textContent = words[Number(hands[id])];
    }
    for (const made of document.querySelectorAll("[data-section]"))
      press(made, hands.sections[made.dataset.section]);
    for (const made of document.querySelectorAll("[data-trouble]"))
      press(made, hands.troubles.includes(made.dataset.trouble));
    for (const made of document.querySelectorAll("[data-field]"))
      press(made, hands.field === made.dataset.field);
    document
      .querySelectorAll("#outlets select")
      .forEach((select, i) => follow(select, String(hands.outlets[i])));
    const throttle = hands.mode === "throttle" ? Math.round(hands.throttle * 100) : 0;
    follow(byId("throttle"), String(throttle));
    byId("throttle-out").textContent = hands.mode === "throttle" ? `${throttle} %` : "\u2013";
    press(byId("recorded"), hands.mode === "recorded");
    follow(byId("tank"), String(Math.round(hands.tank_l)));
    byId("tank-out").textContent = hands.tank_l
      ? this.units.text("volume_ml", hands.tank_l * 1000)
      : "empty";
    showAll("tank-count", this.units.text("volume_ml", hands.counted_l * 1000));
    const low = hands.tank_low ? "near empty, by count" : "";
    if (byId("tank-low").textContent !== low) byId("tank-low").textContent = low;
    follow(byId("factor"), String(FACTORS.indexOf(hands.factor)));
    byId("factor").setAttribute("aria-valuetext", `${hands.factor} times`);
    byId("factor-out").textContent = `\u00d7 ${hands.factor}`;
    showAll("buzzer", hands.buzzer ? "sounds" : "silent");
    byId("lamp").classList.toggle("lit", Boolean(hands.lamp));
  }

  /** What is kept of this drive, and where the last one saved lies. */
  showDrive({ let_go_s, saving, saved }) {
    byId("save").disabled = byId("save-report").disabled = saving;
    byId("save").textContent = saving ? "Saving \u2026" : "Save this drive";
    byId("let-go").textContent = let_go_s
      ? `The first ${clock(let_go_s)} of this drive are not kept any more: the last hour is.`
      : "Starting over lets a drive go that is not saved.";
    byId("saved").hidden = !saved;
    if (!saved) return;
    byId("report").href = this.addressOf(saved, REPORT);
    byId("place").textContent = saved.place && `in ${saved.place}`;
    const links = (saved.files ?? []).map((file) =>
      make("a", { href: this.addressOf(saved, file), download: `${saved.name}_${file}` }, file),
    );
    byId("files").replaceChildren(...(links.length ? ["its files:"] : []), ...links);
    if (this.reporting && !saving && saved.name !== this.before) this.openReport();
    this.before = saved.name;
  }

  /** Open the report that was asked for. A browser that waited too long since the click for
      that opens nothing; then the link has the focus. */
  openReport() {
    byId("report").focus();
    byId("report").click();
    this.reporting = false;
  }

  /** Something was refused; if it was a report, none is opened later. */
  refused() {
    this.reporting = false;
  }

  showSpeed(speed_mm_s) {
    byId("true-speed").textContent = this.units.text("speed_mm_s", speed_mm_s);
  }
}

/** Let a control follow, unless somebody holds it. */
function follow(control, value) {
  if (document.activeElement !== control || !control.matches(":active")) control.value = value;
}
