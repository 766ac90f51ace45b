"""A drawing in millimetres, in its true size when it is printed without scaling."""

from __future__ import annotations

from html import escape


class Svg:
    """Collects shapes; coordinates and widths in millimetres."""

    def __init__(self, width: float, height: float) -> None:
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" '
            f'height="{height:.2f}mm" viewBox="0 0 {width:.2f} {height:.2f}" '
            'font-family="sans-serif" font-size="2">',
            f'<rect width="{width:.2f}" height="{height:.2f}" fill="white"/>',
        ]

    def words(self, x: float, y: float, text: str, size: float, anchor: str = "start") -> None:
        """A text that begins (or has its middle) at a place."""
        self._parts.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" '
                           f'text-anchor="{anchor}">{escape(text)}</text>')

    def upright(self, x: float, y: float, text: str, size: float, anchor: str = "start") -> None:
        """A text that runs downwards from a place."""
        self._parts.append(f'<text transform="translate({x:.2f} {y:.2f}) rotate(90)" '
                           f'font-size="{size}" text-anchor="{anchor}">{escape(text)}</text>')

    def box(self, x: float, y: float, width: float, height: float, fill: str,
            dashed: bool = False) -> None:
        """A rectangle by its upper left corner."""
        dash = ' stroke-dasharray="2 1.5"' if dashed else ""
        self._parts.append(f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" '
                           f'height="{height:.2f}" fill="{fill}" stroke="black" '
                           f'stroke-width="0.25"{dash}/>')

    def circle(self, x: float, y: float, radius: float, fill: str = "none") -> None:
        """A circle by its middle."""
        self._parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{fill}" '
                           'stroke="black" stroke-width="0.25"/>')

    def stroke(self, x1: float, y1: float, x2: float, y2: float, width: float = 0.25) -> None:
        """A line."""
        self._parts.append(f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" '
                           f'stroke="black" stroke-width="{width}"/>')

    def path(self, steps: str) -> None:
        """A curve."""
        self._parts.append(f'<path d="{steps}" fill="none" stroke="#1f5fbf" stroke-width="0.5"/>')

    def text(self) -> str:
        """The whole drawing."""
        return "\n".join([*self._parts, "</svg>", ""])
