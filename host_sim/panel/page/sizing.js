// A machine at the desk: what is wanted and fitted as lines, the answer of `size` as its tables.

import { byId, make } from "./dom.js";

const SIZING = "sizing \u2026";

export class Sizing {
  constructor(send) {
    this.lines = byId("size-lines");
    byId("size-form").addEventListener("submit", (event) => {
      event.preventDefault();
      byId("size-why").textContent = SIZING;
      send("size", this.lines.value, this.us);
    });
  }

  begin({ size: { fields, example } }) {
    if (!this.lines.value) this.lines.value = example;
    byId("size-fields").replaceChildren(
      ...fields.map(([name, shown, words]) =>
        make(
          "tr",
          {},
          make("td", {}, make("code", {}, `${name} = ${shown}`)),
          make("td", {}, words),
        ),
      ),
    );
  }

  use({ us }) {
    this.us = us;
  }

  /** Something was refused: whoever waits is told. */
  refuse() {
    if (byId("size-why").textContent === SIZING) this.show({});
  }

  /** The answer, or why there is none. */
  show({ answer = "", why = "" }) {
    byId("size-why").textContent = why;
    byId("size-answer").textContent = answer;
    byId("size-answer").hidden = !answer;
  }
}
