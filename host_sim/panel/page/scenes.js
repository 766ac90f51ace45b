// Moments to go to: drives that play themselves so far, each with an address of its own.

import { make } from "./dom.js";

/** { name, at_s } of an address's fragment such as #scene=stalled_meter&at=40, or null. */
export function momentOf(fragment) {
  const said = new URLSearchParams(fragment.replace(/^#/, ""));
  const name = said.get("scene");
  return name === null ? null : { name, at_s: said.has("at") ? Number(said.get("at")) : null };
}

export class Scenes {
  /** send(...command) asks for something, lookAt(id) brings a part of the page into sight. */
  constructor(list, send, lookAt) {
    this.list = list;
    this.send = send;
    this.lookAt = lookAt;
    this.gone = false; // to the moment that the page was opened with
    addEventListener("hashchange", () => this.go());
  }

  begin({ scenes = [] }) {
    this.usual_s = Object.fromEntries(scenes.map(([name, , at_s]) => [name, at_s]));
    this.where = Object.fromEntries(scenes.map(([name, , , where]) => [name, where]));
    this.list.replaceChildren(
      ...scenes.map(([name, words, at_s]) => {
        const href = `#scene=${name}&at=${at_s}`;
        const link = make("a", { href }, `${words} at ${at_s} s`);
        link.addEventListener("click", () => {
          this.list.parentElement.open = false;
          if (location.hash === href) this.go(); // where it changes, the change is heard
        });
        return make("li", {}, link);
      }),
    );
    this.mark();
    if (!this.gone && scenes.length) this.go();
    this.gone = true;
  }

  /** Go to the moment that the address names; the twin starts over for it. */
  go() {
    this.mark();
    const moment = momentOf(location.hash);
    if (!moment) return;
    this.send("scene", moment.name, moment.at_s ?? this.usual_s[moment.name] ?? 0);
    if (this.where[moment.name]) this.lookAt(this.where[moment.name]);
  }

  mark() {
    for (const link of this.list.querySelectorAll("a")) {
      if (link.getAttribute("href") === location.hash) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
  }

  /** The twin has started over by hand: the address names nothing any more. */
  leave() {
    if (momentOf(location.hash)) history.replaceState(null, "", location.pathname);
    this.mark();
  }
}
