// The buzzer as a sound, if wanted: off until a person switches it on.

import { byId, press } from "./dom.js";

const HERTZ = 2300; // as a piezo buzzer; common practice, no source
const LOUD = 0.05;
const RAMP_S = 0.01; // a sound cut off at once would click

export class Buzzer {
  constructor() {
    this.sounding = false;
    byId("hear").addEventListener("click", () => this.toggle());
  }

  get wanted() {
    return byId("hear").getAttribute("aria-pressed") === "true";
  }

  toggle() {
    press(byId("hear"), !this.wanted);
    if (this.wanted && !this.gain) this.build();
    this.follow();
  }

  /** A browser lets no page make a sound before a person has clicked, so it is made then. */
  build() {
    this.context = new AudioContext();
    this.gain = new GainNode(this.context, { gain: 0 });
    const tone = new OscillatorNode(this.context, { type: "square", frequency: HERTZ });
    tone.connect(this.gain).connect(this.context.destination);
    tone.start();
  }

  /** Whether the controller's buzzer sounds now. */
  show(sounding) {
    this.sounding = sounding;
    this.follow();
  }

  follow() {
    const loud = this.sounding && this.wanted ? LOUD : 0;
    this.gain?.gain.setTargetAtTime(loud, this.context.currentTime, RAMP_S);
  }
}
