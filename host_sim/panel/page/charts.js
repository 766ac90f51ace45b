// Four strip charts over time, with one cursor. Drawn by uPlot (vendor/).

import { make } from "./dom.js";
import { GRAINS } from "./history.js";
import { clock } from "./units.js";

const HEIGHT = 150;
const DASH = [6, 4];
const TIME_STEPS = [5, 10, 20, 30, 60, 120, 300, 600, 900];

// title, quantity, lines of (column of the truth, column of the belief, name, colour, dashed)
const CHARTS = [
  {
    title: "application rate",
    quantity: "rate_ml_ha",
    lines: [
      ["true_applied_ml_ha", "applied_ml_ha", "applied", null, false],
      ["rate_ml_ha", "rate_ml_ha", "asked", "--asked", true],
    ],
  },
  {
    title: "flow",
    quantity: "flow_ul_s",
    lines: [
      ["true_flow_ul_s", "flow_ul_s", "flow", null, false],
      ["target_ul_s", "target_ul_s", "target", "--asked", true],
    ],
  },
  {
    title: "ground speed",
    quantity: "speed_mm_s",
    lines: [["true_speed_mm_s", "speed_mm_s", "speed", null, false]],
  },
  {
    title: "drive",
    quantity: "duty_u16",
    lines: [["drive", "drive", "", "--controller", false]],
  },
];

export class Charts {
  constructor(root) {
    this.root = root;
    this.plots = [];
    this.grain = 0;
    this.resize = new ResizeObserver(() => this.fit());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.build());
    root.addEventListener("keydown", (event) => this.key(event));
  }

  begin(hello, units, whose) {
    this.hello = hello;
    this.columns = Object.fromEntries(hello.columns.map((name, i) => [name, i]));
    this.columns.drive = this.columns[hello.pump ? "duty_u16" : "position_u16"];
    this.set(units, whose, this.grain);
  }

  /** Show in these units, whose figures, and how far back. */
  set(units, whose, grain) {
    this.units = units;
    this.whose = whose;
    this.grain = grain;
    this.build();
  }

  build() {
    if (!this.units) return;
    for (const { plot } of this.plots) plot.destroy();
    this.resize.disconnect();
    this.root.replaceChildren();
    this.plots = CHARTS.map((chart) => this.chart(chart));
    this.resize.observe(this.root);
    if (this.track) this.show(this.track, this.now_s);
  }

  chart({ title, quantity, lines }) {
    const style = getComputedStyle(this.root);
    const colour = (name) => style.getPropertyValue(name ?? `--${this.whose}`);
    const readings = lines.map(([, , , line, dashed]) => {
      const reading = make("span");
      reading.style.setProperty("--colour", colour(line));
      if (dashed) reading.style.setProperty("--stroke", "dashed");
      return reading;
    });
    const name =
      title === "drive" ? (this.hello.pump ? "duty of the pump" : "valve position") : title;
    const heading = make("h3", {}, `${name}, ${this.units.label(quantity)}`, ...readings);
    const box = make("div", { className: "chart" }, heading);
    this.root.append(box);
    const axis = {
      stroke: style.getPropertyValue("--muted"),
      font: `11px ${style.fontFamily}`,
      grid: { stroke: style.getPropertyValue("--line"), width: 1 },
      ticks: { show: false },
    };
    const series = lines.map(([, , , line, dashed]) => ({
      stroke: colour(line),
      width: 1.6,
      dash: dashed ? DASH : undefined,
      points: { show: false },
    }));
    const plot = new uPlot(
      {
        width: Math.max(box.clientWidth, 120),
        height: HEIGHT,
        legend: { show: false },
        cursor: {
          sync: { key: "panel" },
          y: false,
          points: { size: 6 },
          drag: { x: false, y: false },
        },
        scales: {
          x: { time: false, range: () => this.window() },
          y: { range: (_, low, high) => [0, this.top(quantity, high)] },
        },
        axes: [
          {
            ...axis,
            size: 26,
            space: 70,
            incrs: TIME_STEPS,
            values: (_, marks) => marks.map(clock),
          },
          { ...axis, size: 44, space: 34 },
        ],
        series: [{}, ...series],
        hooks: { setCursor: [() => this.read()] },
      },
      [[], ...lines.map(() => [])],
      box,
    );
    return { plot, quantity, lines, readings };
  }

  /** From where to where the time goes: it fills up first, then it moves on. */
  window() {
    const { back_s } = GRAINS[this.grain];
    const end_s = Math.max(this.now_s ?? 0, back_s);
    return [end_s - back_s, end_s];
  }

  /** The upper end of a scale: room above what is asked for, but no spike may flatten the rest. */
  top(quantity, high) {
    const least = { duty_u16: 100 }[quantity] ?? 1;
    if (quantity === "duty_u16" || high === null) return least;
    const asked = this.newest("rate_ml_ha") * this.units.factor("rate_ml_ha");
    if (quantity === "rate_ml_ha") return Math.min(Math.max(high * 1.1, asked * 1.3), asked * 2);
    return Math.max(high * 1.1, least);
  }

  newest(name) {
    return this.track?.columns[this.columns[name]].at(-1) ?? 0;
  }

  show(track, now_s) {
    this.track = track;
    this.now_s = now_s;
    const times = track.columns[0];
    for (const { plot, quantity, lines } of this.plots) {
      const factor = this.units.factor(quantity);
      const values = lines.map((line) =>
        this.values(line).map((value) => (value === null ? null : value * factor)),
      );
      plot.setData([times, ...values]);
    }
    this.read();
  }

  values([truth, belief]) {
    return this.track.columns[this.columns[this.whose === "true" ? truth : belief]];
  }

  /** The figures beside the titles: at the cursor, else the newest. */
  read() {
    if (!this.track) return;
    for (const { plot, quantity, lines, readings } of this.plots) {
      const index = plot.cursor.idx ?? this.track.columns[0].length - 1;
      lines.forEach((line, i) => {
        const number = this.units.number(quantity, this.values(line)[index]);
        readings[i].textContent = `${line[2]} ${number}`.trim();
      });
    }
  }

  key(event) {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: -50, PageDown: 50 }[event.key];
    if (!step || !this.track) return;
    event.preventDefault();
    event.stopPropagation();
    const { plot } = this.plots[0];
    const times = this.track.columns[0];
    const index = Math.min(Math.max((plot.cursor.idx ?? times.length) + step, 0), times.length - 1);
    plot.setCursor({ left: plot.valToPos(times[index], "x"), top: 10 });
  }

  fit() {
    for (const { plot } of this.plots) {
      const width = plot.root.parentElement.clientWidth;
      if (width && width !== plot.width) plot.setSize({ width, height: HEIGHT });
    }
  }
}
