"""The box as a page and as a drawing with dimensions."""

from __future__ import annotations

from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.hardware.cables import TABLE
from host_sim.hardware.enclosure import (
    DEPTH,
    HEIGHT,
    INSIDE,
    LID,
    PLATE,
    WIDTH,
    BoxedPart,
    BoxHole,
    gland_for,
    glands,
    items,
    outer_mm,
)
from host_sim.hardware.svg import Svg

PAGE = REPO_ROOT / "hardware" / "enclosure.md"
DRAWING = REPO_ROOT / "hardware" / "enclosure.svg"
SCALE = 0.5
PAGE_HEAD = f"""\
# Enclosure

> **Not built.** Positions are reckoned, not tried; sizes of bought parts are from memory. Measure
> yours, and the box, before you drill. Drill with every part out of the box; wear eye protection.
> Box open means main switch off and fuse pulled: the [cautions](wiring.md) hold. The emergency
> stop has to be where a hand finds it from outside, also when the box hangs under a bar: then put
> S1 on the machine, on a cable of its own.

Made by `python -m host_sim hardware draw`; do not edit. A box of IP65 or better, **inside at least
{WIDTH:g} x {HEIGHT:g} x {DEPTH:g} mm**. It hangs with the glands down, so that water runs off the
cables. Terminal strips, relay, fuses and what gets hot stand on the back wall; the stripboards on
a plate {PLATE:g} mm above it, on four pillars, which swings or lifts off to reach the terminals.
The plate of Q1, D14 and U7 stands on the right wall with insulating pads under the tabs; where the
box is of metal the wall takes their heat. The project checks that nothing runs into anything, that
what hangs from the lid clears what stands below it, and that each cable has a gland which clamps
it.

![box, lid and lower wall](enclosure.svg)

The drawing is half size. x and y count from the inner upper left corner, seen from the front.

## Holes of the lid

| what | x | y | hole | goes in by |
| --- | --- | --- | --- | --- |
"""
WALL_HEAD = """
## Holes of the lower wall

x counts from the left, seen from the front; *from the back* from the inside of the back wall. Outer
diameters are reckoned from the wires of [cables](cables.md); a gland left over takes a plug.

| cable | gland | hole | x | from the back | clamps | cable's diameter |
| --- | --- | --- | --- | --- | --- | --- |
"""
INSIDE_HEAD = """
## What stands where

| what | x | y | size | height | on |
| --- | --- | --- | --- | --- | --- |
"""


def page_text() -> str:
    """hardware/enclosure.md."""
    text = PAGE_HEAD
    for hole in LID:
        size = f"{hole.wide:g} x {hole.diameter:g}" if hole.wide else f"{hole.diameter:g} round"
        text += f"| {hole.name} | {hole.x:g} | {hole.y:g} | {size} | {hole.reach:g} |\n"
    text += WALL_HEAD
    cables = [cable for cable in TABLE if cable.connector not in INSIDE]
    for cable, hole in zip(cables, glands(), strict=True):
        thread, diameter, low, high, _ = gland_for(cable)
        text += (f"| {cable.connector} | {thread} | {diameter:g} | {hole.x:g} | {hole.y:g} "
                 f"| {low:g} to {high:g} | {outer_mm(cable):.1f} |\n")
    text += INSIDE_HEAD
    for item in items():
        text += (f"| {item.name} | {item.x:g} | {item.y:g} | {item.width:.0f} x {item.height:.0f} "
                 f"| {item.high:g} | {'plate' if item.floor else 'back wall'} |\n")
    return text + "\nMillimetres throughout.\n"


# --- drawing ------------------------------------------------------------------------------------

LEFT, TOP, APART = 24.0, 26.0, 30.0  # on the paper


class View:
    """A part of the drawing, in the box's millimetres from its own corner on the paper."""

    def __init__(self, svg: Svg, left: float, top: float, title: str, wide: float,
                 high: float) -> None:
        self._svg, self._left, self._top = svg, left, top
        svg.box(left, top, wide * SCALE, high * SCALE, "none")
        svg.words(left, top - 12, title, 3.4)
        self._measure(wide, high)

    def _measure(self, wide: float, high: float) -> None:
        """The outer dimensions, with lines and ticks."""
        svg, x, y = self._svg, self._left, self._top
        right, low = x + wide * SCALE, y + high * SCALE
        svg.stroke(x, y - 4, right, y - 4)
        svg.stroke(x - 4, y, x - 4, low)
        for at in (x, right):
            svg.stroke(at, y - 6, at, y - 1)
        for at in (y, low):
            svg.stroke(x - 6, at, x - 1, at)
        svg.words((x + right) / 2, y - 5, f"{wide:g}", 2.8, "middle")
        svg.upright(x - 7.5, (y + low) / 2, f"{high:g}", 2.8, "middle")

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place on the paper."""
        return self._left + x * SCALE, self._top + y * SCALE

    def item(self, item: BoxedPart) -> None:
        """A thing with its name; what stands on the plate is dashed."""
        x, y = self.at(item.x, item.y)
        wide, high = item.width * SCALE, item.height * SCALE
        self._svg.box(x, y, wide, high, "none" if item.floor else "#f3efe6", bool(item.floor))
        if wide < 17:
            self._svg.upright(x + wide / 2 - 0.7, y + 1, item.name, 1.9)
            return
        low = y + 0.4 * high if item.floor else y + 3.2
        size = 1.9 if wide > 25 else 1.5
        self._svg.words(x + 0.8, low, item.name, size)

    def hole(self, hole: BoxHole, words: str) -> None:
        """A hole with its middle lines and its size."""
        x, y = self.at(hole.x, hole.y)
        radius = hole.diameter / 2 * SCALE
        half = hole.wide / 2 * SCALE or radius
        if hole.wide:
            self._svg.box(x - half, y - radius, 2 * half, 2 * radius, "none")
        else:
            self._svg.circle(x, y, radius)
        self._svg.stroke(x - half - 1.5, y, x + half + 1.5, y, 0.12)
        self._svg.stroke(x, y - radius - 1.5, x, y + radius + 1.5, 0.12)
        for line, told in enumerate(words.split("\n")):
            self._svg.words(x, y + radius + 4 + 2.4 * line, told, 2.0, "middle")


def drawing() -> str:
    """Inside, lid and lower wall."""
    wide, high, deep = (size * SCALE for size in (WIDTH, HEIGHT, DEPTH))
    svg = Svg(2 * LEFT + 2 * wide + APART, TOP + 2 * APART + high + deep)
    svg.words(LEFT - 16, 8, "Enclosure, half size, all numbers in millimetres inside the box. "
                            "Not built: measure before you drill.", 3.4)
    inside = View(svg, LEFT, TOP, "lid off, from the front; dashed: on the plate", WIDTH, HEIGHT)
    for item in sorted(items(), key=lambda item: item.floor):
        inside.item(item)
    lid = View(svg, LEFT + wide + APART, TOP, "lid, from the front", WIDTH, HEIGHT)
    for hole in LID:
        size = f"{hole.wide:g} x {hole.diameter:g}" if hole.wide else f"dia. {hole.diameter:g}"
        lid.hole(hole, f"{hole.name}\n{size}\nx {hole.x:g}, y {hole.y:g}")
    top = TOP + high + APART
    wall = View(svg, LEFT, top, "lower wall, from inside, looking down on it; the back wall is up",
                WIDTH, DEPTH)
    for hole in glands():
        wall.hole(hole, f"{hole.name}\nx {hole.x:g}")
    column = LEFT + wide + APART
    for line, depth in enumerate(sorted({hole.y for hole in glands()})):
        svg.words(column, top + 6 + 5 * line, f"row of holes {depth:g} from the back wall", 2.8)
    svg.words(column, top + 22, "Holes: M12 12.5, M16 16.5, M20 20.5, M25 25.5.", 2.8)
    return svg.text()


def texts() -> dict[Path, str]:
    """Page and drawing."""
    return {PAGE: page_text(), DRAWING: drawing()}
