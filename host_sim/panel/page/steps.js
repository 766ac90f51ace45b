// The four steps, ticked off as they are done; what comes next is marked.

const WITHIN = 0.05;
const SETTLED_ROWS = 20; // two seconds

const ORDER = ["armed", "lowered", "driving", "watching"];

export class Steps {
  constructor(root) {
    this.items = Object.fromEntries(
      ORDER.map((name) => [name, root.querySelector(`[data-step=${name}]`)]),
    );
    this.arming = this.items.armed.querySelector("span");
    this.settled = 0;
  }

  begin(hello) {
    this.permits = hello.permits;
    this.settled = 0;
  }

  /** permits of the newest row; ratio of applied to asked, null where nothing is applied. */
  show(permits, ratio, rows) {
    this.settled = ratio !== null && Math.abs(ratio - 1) <= WITHIN ? this.settled + rows : 0;
    const has = (mask) => (permits & mask) === mask;
    const done = {
      armed: has(this.permits.armed),
      lowered: has(this.permits.lowered),
      driving: has(this.permits.driving),
      watching: this.settled >= SETTLED_ROWS,
    };
    const masterOn = has(this.permits.master);
    this.arming.textContent =
      masterOn && !done.armed ? "master off, then on" : "switch the master on";
    const next = ORDER.find((name) => !done[name]);
    document.getElementById("lead-before").hidden = !next;
    document.getElementById("lead-after").hidden = Boolean(next);
    for (const name of ORDER) {
      this.items[name].classList.toggle("done", done[name]);
      this.items[name].classList.toggle("next", name === next);
      if (name === next) this.items[name].setAttribute("aria-current", "step");
      else this.items[name].removeAttribute("aria-current");
    }
  }
}
