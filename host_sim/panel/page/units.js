// Numbers as people read them. The table comes from the firmware's own; see app/units_text.py.

export class Units {
  /** table: for each quantity a metric and a US row of [label, decimals, numerator, denominator],
      where one labelled unit is numerator / denominator of the firmware's integer unit. */
  constructor(table, us) {
    this.table = table;
    this.us = us;
  }

  row(quantity) {
    return this.table[quantity][this.us ? 1 : 0];
  }

  label(quantity) {
    return this.row(quantity)[0];
  }

  decimals(quantity) {
    return this.row(quantity)[1];
  }

  /** How many shown units one internal unit is. */
  factor(quantity) {
    const [, , numerator, denominator] = this.row(quantity);
    return denominator / numerator;
  }

  number(quantity, value) {
    if (value === null || value === undefined) return "\u2013";
    return (value * this.factor(quantity)).toFixed(this.decimals(quantity));
  }

  text(quantity, value) {
    return `${this.number(quantity, value)} ${this.label(quantity)}`;
  }

  /** Why a number in a field cannot be taken, "" where it can; `limits` are internal. */
  refusal(quantity, shown, limits) {
    const [low, high] = limits[quantity];
    const value = this.internal(quantity, shown);
    if (value >= low && value <= high) return "";
    return `must be ${this.number(quantity, low)} to ${this.text(quantity, high)}`;
  }

  /** The internal whole number that a shown one means. */
  internal(quantity, shown) {
    return Math.round(shown / this.factor(quantity));
  }
}

/** 4:07 for 247 seconds. */
export function clock(seconds) {
  const whole = Math.floor(seconds);
  const minutes = Math.floor(whole / 60) % 60;
  const hours = Math.floor(whole / 3600);
  const rest = String(whole % 60).padStart(2, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
}

/** "+3 %" for 1.03. */
export function deviation(ratio) {
  if (ratio === null) return "\u2013";
  const percent = Math.round((ratio - 1) * 100);
  return `${percent > 0 ? "+" : percent < 0 ? "\u2212" : "\u00b1"}${Math.abs(percent)} %`;
}
