// Gives the texts of the page whose contrast to their ground is too small, with the contrast.
// Formulas: WCAG 2.2, "relative luminance" and "contrast ratio".

() => {
  const channel = (c) => {
    c /= 255;
    return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  };
  const parse = (text) => text.match(/[\d.]+/g).map(Number);
  const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const poor = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    const style = getComputedStyle(e);
    if (!walker.currentNode.data.trim() || !e.checkVisibility() || e.closest(".hidden, .skip"))
      continue;
    const [a, b] = [light(parse(style.color)), light(ground(e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) poor.push([walker.currentNode.data.trim(), ratio.toFixed(2), style.color]);
  }
  return poor;
};
