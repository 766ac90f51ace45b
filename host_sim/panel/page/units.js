// Numbers as people read them. The table comes from the firmware's own; see app/units_text.py.

export class Units {
  /** table: for each quantity a metric and a US row of [label, decimals, numerator, denominator],
      where one labelled unit is numerator / denominator of the firmware's integer unit; behind
      them what may be typed besides. aliases: other spellings of labels. */
  constructor({ units, aliases }, us) {
    this.table = units;
    this.aliases = aliases;
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

  /** What the text of a field means: { value }, a whole number in the firmware's unit, or
      { why } it cannot be taken. A bare number is in the shown unit. `limits` are internal; they
      are told in the unit that was typed. */
  typed(quantity, text, limits) {
    const [, number, label] = /^\s*([-+.,\d]*)\s*(.*?)\s*$/.exec(text);
    const rows = this.table[quantity];
    const row = label ? this.labelled(rows, label) : this.row(quantity);
    if (!row) return { why: `unit "${label}" is none of ${rows.map((one) => one[0]).join(", ")}` };
    if (number.includes(",")) return { why: `"${number}": write the decimal sign as a point` };
    if (!number || Number.isNaN(Number(number))) return { why: `"${text}" is not a number` };
    const [unit, decimals, numerator, denominator] = row;
    const value = Math.round((Number(number) * numerator) / denominator);
    const [low, high] = limits[quantity];
    if (value >= low && value <= high) return { value };
    const [least, most] = [low, high].map((one) =>
      ((one * denominator) / numerator).toFixed(decimals),
    );
    return { why: `must be ${least} to ${most} ${unit}` };
  }

  labelled(rows, label) {
    const plain = (text) => text.toLowerCase().replaceAll(" ", "");
    const wanted = this.aliases[plain(label)] ?? plain(label);
    return rows.find((row) => plain(row[0]) === wanted);
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
