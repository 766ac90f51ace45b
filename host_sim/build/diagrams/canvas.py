"""A drawing as SVG that can be read on a phone, on light and on dark.

It is as wide as a small phone, so that text keeps its size there. It brings its own ground and
follows the reader's choice of dark or light by itself, for a picture cannot see the page's colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from host_sim.report.palette import PALETTE

WIDTH = 390
MARGIN = 12
FONT = 14
SMALL = 12.5
LETTER = 0.54  # of the font's height: what a letter takes in the mean
SHOWN = ("page", "ink", "muted", "grid", "lifted", "true", "metered", "band")
Point = tuple[float, float]


class Canvas:
    """Collects shapes; `svg` gives the drawing. Places are in units of a phone's pixels."""

    def __init__(self, title: str) -> None:
        self.title = title
        self.height = 0.0
        self._shapes: list[str] = []

    def box(self, x: float, y: float, width: float, height: float, text: str = "",
            fill: str = "lifted", edge: str = "muted", dashed: bool = False) -> None:
        """A rectangle with text in its middle, a line break at each newline."""
        dash = ' stroke-dasharray="5 4"' if dashed else ""
        self._add(f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="5" '
                  f'class="f-{fill} s-{edge}"{dash}/>', y + height)
        lines = text.split("\n") if text else []
        first = y + height / 2 + 5 - (len(lines) - 1) * 8.5
        for index, line in enumerate(lines):
            self.text(x + width / 2, first + index * 17, line, anchor="middle")

    def text(self, x: float, y: float, text: str, size: float = FONT, colour: str = "ink",
             anchor: str = "start", bold: bool = False) -> None:
        """One line; y is its base line."""
        weight = ' font-weight="700"' if bold else ""
        self._add(f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}" '
                  f'class="t-{colour}"{weight}>{escape(text)}</text>', y)

    def paragraph(self, x: float, y: float, text: str, width: float, size: float = SMALL,
                  colour: str = "muted") -> float:
        """Text in as many lines as it takes; returns the y below it."""
        for line in wrapped(text, width, size):
            self.text(x, y, line, size, colour)
            y += size * 1.3
        return y

    def line(self, points: Sequence[Point], colour: str = "ink", wide: float = 1.6,
             arrow: bool = False, dash: str = "") -> None:
        """A line through points, with an arrow at its end where asked."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        more = f' stroke-dasharray="{dash}"' if dash else ""
        more += f' marker-end="url(#to-{colour})"' if arrow else ""
        self._add(f'<polyline points="{path}" class="l s-{colour}" stroke-width="{wide:g}"{more}/>',
                  max(y for _, y in points))

    def dot(self, x: float, y: float, radius: float = 3.5, colour: str = "ink") -> None:
        """A filled circle."""
        self._add(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" class="f-{colour}"/>',
                  y + radius)

    def _add(self, shape: str, bottom: float) -> None:
        self._shapes.append(shape)
        self.height = max(self.height, bottom)

    def svg(self) -> str:
        """The drawing as text of a file."""
        height = self.height + MARGIN
        arrows = "".join(
            f'<marker id="to-{name}" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="9" '
            f'markerHeight="9" markerUnits="userSpaceOnUse" orient="auto">'
            f'<path d="M0 0L10 5L0 10z" class="f-{name}"/></marker>\n'
            for name in ("ink", "muted", "true", "metered"))
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH * 1.4:g}" '
            f'height="{height * 1.4:g}" viewBox="0 0 {WIDTH} {height:g}" role="img" '
            f'font-family="system-ui, Helvetica, Arial, sans-serif">\n'
            f"<title>{escape(self.title)}</title>\n<style>\n{_style()}</style>\n"
            f"<defs>\n{arrows}</defs>\n"
            f'<rect width="{WIDTH}" height="{height:g}" rx="8" class="f-page"/>\n'
            + "\n".join(self._shapes) + "\n</svg>\n")


def wrapped(text: str, width: float, size: float) -> list[str]:
    """The words of a text in lines no longer than this width, as far as one can tell."""
    most = max(int(width / (size * LETTER)), 1)
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _style() -> str:
    def rules(scheme: int) -> str:
        return "".join(
            f".f-{name}{{fill:{PALETTE[name][scheme]}}}.t-{name}{{fill:{PALETTE[name][scheme]}}}"
            f".s-{name}{{stroke:{PALETTE[name][scheme]}}}\n" for name in SHOWN)

    return (f"{rules(0)}.l{{fill:none;stroke-linejoin:round}}\n"
            f"@media (prefers-color-scheme: dark){{\n{rules(1)}}}\n")
