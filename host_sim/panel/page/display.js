// The controller's display, dot by dot, with the letters and bars of its own firmware.

const COLUMNS = 20;
const ROWS = 4;
const WIDE = 6; // dots from letter to letter
const HIGH = 9;
const MARGIN = 2; // dots around
const FIRST_LETTER = 32;
const GLYPH = 5;
const BAR_NAMES = { 1: "\u2580", 2: "\u2584", 3: "\u2261", 4: "\u2588" };

function bytes(hex) {
  return hex.match(/../g).map((pair) => parseInt(pair, 16));
}

export class Display {
  constructor(canvas) {
    this.canvas = canvas;
    this.rows = [];
    this.letters = this.bars = [];
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  begin({ letters, bars }) {
    this.letters = bytes(letters);
    this.bars = bytes(bars);
    this.show(null);
  }

  /** rows: four texts of twenty characters, or null where none is told. */
  show(rows) {
    this.rows = rows ?? [];
    const words = this.rows.map((row) =>
      row.replace(/[\x01-\x04]/g, (bar) => BAR_NAMES[bar.charCodeAt()]).trim(),
    );
    this.canvas.setAttribute(
      "aria-label",
      `Display: ${words.filter(Boolean).join(", ") || "dark"}`,
    );
    this.draw();
  }

  columnsOf(code) {
    if (code < FIRST_LETTER) return this.bars.slice((code - 1) * GLYPH, code * GLYPH);
    const start = (code - FIRST_LETTER) * GLYPH;
    return this.letters.slice(start, start + GLYPH);
  }

  draw() {
    const ratio = devicePixelRatio;
    const dotsWide = COLUMNS * WIDE - 1 + 2 * MARGIN;
    const dotsHigh = ROWS * HIGH - 1 + 2 * MARGIN;
    const dot = Math.max(Math.floor((this.canvas.clientWidth * ratio) / dotsWide), 1);
    this.canvas.width = dot * dotsWide;
    this.canvas.height = dot * dotsHigh;
    const style = getComputedStyle(this.canvas);
    const context = this.canvas.getContext("2d");
    const colours = {
      0: style.getPropertyValue("--lcd-off"),
      1: style.getPropertyValue("--lcd-on"),
    };
    const size = dot > 2 ? dot - 1 : dot;
    for (let row = 0; row < ROWS; row++) {
      for (let column = 0; column < COLUMNS; column++) {
        const columns = this.columnsOf(this.rows[row]?.charCodeAt(column) || FIRST_LETTER);
        for (let x = 0; x < GLYPH; x++) {
          for (let y = 0; y < HIGH - 1; y++) {
            context.fillStyle = colours[(columns[x] >> y) & 1];
            context.fillRect(
              (MARGIN + column * WIDE + x) * dot,
              (MARGIN + row * HIGH + y) * dot,
              size,
              size,
            );
          }
        }
      }
    }
  }
}
