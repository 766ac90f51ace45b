"""Charts as inline SVG that follows the colours of the page, light, dark and on paper.

matplotlib draws in marker colours; each is replaced by a CSS variable of the page.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from host_sim.report.palette import MARKERS


@dataclass(frozen=True)
class Size:
    """A width to draw for: inches, font in points, and how many points a line may have."""

    name: str
    width_in: float
    font_pt: float
    buckets: int


WIDE = Size("wide", 9.6, 8.0, 800)
NARROW = Size("narrow", 4.1, 8.0, 320)


def draw(paint: Callable[[Figure], None], size: Size, height_in: float, title: str) -> str:
    """An SVG element with what `paint` puts on a figure. `title` says it to who cannot see it."""
    with mpl.rc_context(_style(size, title)):
        figure = Figure(figsize=(size.width_in, height_in), layout="constrained")
        paint(figure)
        target = io.StringIO()
        figure.savefig(target, format="svg", transparent=True, dpi=200, metadata={"Date": None})
    return _inline(target.getvalue(), size, title)


def _style(size: Size, salt: str) -> Any:
    return {
        "svg.fonttype": "none",
        "svg.hashsalt": f"{salt} {size.name}",
        "font.family": "sans-serif",
        "font.size": size.font_pt,
        "axes.titlesize": size.font_pt,
        "axes.labelsize": size.font_pt,
        "axes.titlelocation": "left",
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.linewidth": 0.6,
        "axes.edgecolor": MARKERS["muted"],
        "axes.titlecolor": MARKERS["ink"],
        "axes.labelcolor": MARKERS["ink"],
        "axes.grid": True,
        "axes.axisbelow": True,
        "grid.color": MARKERS["grid"],
        "grid.linewidth": 0.5,
        "text.color": MARKERS["ink"],
        "xtick.color": MARKERS["muted"],
        "ytick.color": MARKERS["muted"],
        "lines.linewidth": 0.9,
        "path.simplify_threshold": 0.3,
        "legend.frameon": False,
        "legend.fontsize": size.font_pt,
    }


def _inline(text: str, size: Size, title: str) -> str:
    """Only the <svg> element, without a fixed size, in the colours of the page."""
    body = text[text.index("<svg"):]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r' (?:width|height)="[\d.]+pt"', "", body, count=2)
    body = re.sub(r"font-family: [^;\"]*", "font-family: var(--font)", body)
    for name, marker in MARKERS.items():
        body = body.replace(marker, f"var(--{name})")
    label = escape(title, quote=True)
    return body.replace("<svg", f'<svg class="{size.name}" role="img" aria-label="{label}"', 1)

