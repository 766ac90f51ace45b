// Single keys for everything that hands do often. They can be switched off.

import { byId, make } from "./dom.js";

// key, what it does in words, what it does
function table(panel) {
  const { machine, line } = panel;
  return [
    ["m", "master on or off", () => machine.toggle("master")],
    ["l", "lower or lift the implement", () => machine.toggle("implement")],
    ["ArrowUp", "more throttle", () => machine.nudge(0.05)],
    ["ArrowDown", "less throttle", () => machine.nudge(-0.05)],
    ["1 \u2026 8", "a section on or off", null],
    ["+", "time goes faster", () => machine.pace(1)],
    ["-", "time goes slower", () => machine.pace(-1)],
    [",", "turn the controller\u2019s knob left", () => line.send("key", "left")],
    [".", "turn it right", () => line.send("key", "right")],
    ["p", "push it", () => line.send("key", "push")],
    ["b", "its back key", () => line.send("key", "back")],
    ["t", "truth or the controller\u2019s belief", () => panel.otherSide()],
    ["r", "how far back: 2 min, 10 min, 1 h", () => panel.nextRange()],
    ["?", "this list", () => byId("keys").showModal()],
  ];
}

const ON_EVERY_PAGE = ["t", "r", "?"];
const NAMES = { ArrowUp: "\u2191", ArrowDown: "\u2193" };

/** Whether a key belongs to the browser, or to what has the focus: a field, a list, a slider. */
function isMeantForAnother(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return true;
  if (event.target.closest("input[type=range]")) return event.key.startsWith("Arrow");
  return Boolean(event.target.closest("input, select, dialog"));
}

export class Shortcuts {
  constructor(panel) {
    this.panel = panel;
    this.rows = table(panel);
    byId("help").addEventListener("click", () => byId("keys").showModal());
    byId("shortcuts").replaceChildren(
      ...this.rows.map(([key, words]) => {
        const name = make("kbd", {}, NAMES[key] ?? key);
        return make("tr", {}, make("td", {}, name), make("td", {}, words));
      }),
    );
    document.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    if (!byId("shortcuts-on").checked || isMeantForAnother(event)) return;
    const hands = this.panel.machine.hands;
    const section = Number(event.key) - 1;
    const found = this.rows.find(([key]) => key === event.key);
    if (hands && section in hands.sections) {
      this.panel.machine.toggleSection(section);
    } else if (found?.[2] && (hands || ON_EVERY_PAGE.includes(event.key))) {
      found[2]();
    } else {
      return;
    }
    event.preventDefault();
  }
}
