"""A worked bar of 3 m: its parts in the order of the flow, its losses by `size`, its drawing.

Hoses: Darcy and Weisbach with the friction of a smooth pipe, 64/Re below Re 2300 and Blasius'
0.316/Re^0.25 above (any textbook of hydraulics), for water at 20 C. `size` knows no hoses, so each
is counted with the valve that it serves: both losses grow about with the square of the flow.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.build.pin_reference import between_marks
from host_sim.sizing.answer import solve
from host_sim.sizing.as_json import document
from host_sim.sizing.fields import FIELDS
from host_sim.sizing.request import read_request

PAGE = REPO_ROOT / "hardware" / "plumbing.md"
BAR = REPO_ROOT / "hardware" / "plumbing_bar.toml"
DRAWING = REPO_ROOT / "hardware" / "plumbing.svg"
DENSITY, VISCOSITY = 998.0, 1.0e-6  # kg/m3, m2/s: water at 20 C
LAMINAR = 2300


@dataclass(frozen=True)
class HoseRun:
    """A hose and the flow at which its valve is rated."""

    what: str
    length_m: float
    bore_mm: float
    flow_l_min: float

    @property
    def loss_bar(self) -> float:
        """Its loss at that flow."""
        bore_m, flow_m3_s = self.bore_mm / 1e3, self.flow_l_min / 60e3
        speed = flow_m3_s / (math.pi * bore_m**2 / 4)
        reynolds = speed * bore_m / VISCOSITY
        friction = 64 / reynolds if reynolds < LAMINAR else 0.316 / reynolds**0.25
        return friction * self.length_m / bore_m * DENSITY * speed**2 / 2 / 1e5


MAIN = HoseRun("pump to manifold", 4.0, 13, 20)
SECTION = HoseRun("section valve to its outlets", 2.5, 10, 10)
REGULATING_BAR, STRAINER_BAR, VALVE_BAR = 0.3, 0.1, 0.2  # at the flows above; chosen
TOML = """\
# The worked bar of plumbing.md, made by `python -m host_sim hardware draw`. Valve losses hold
# their hoses: {main:.2f} bar of the regulating valve's and {section:.2f} bar of a section valve's.
title = "bar of 3 m"
units = "metric"

[wanted]
rate = "200 L/ha"
speed = "4.5 to 6 km/h"

[fitted]
width = "3 m"
sections = [2, 2, 2]
outlet = "03"
outlet_pressure = "1 to 4 bar"
check_valve = "0.5 bar"
pump = "20 L/min open, 11 L/min at 4 bar"
relief = "5 bar"
regulating_valve = "20 L/min at {regulating:.2f} bar"
section_valve = "10 L/min at {valve:.2f} bar"
meter = "450 pulses/L"
meter_range = "1.5 to 30 L/min"
"""
POINTS_HEAD = ("| speed | each outlet | all six | at the outlet | at the pump | lost on the way |\n"
               "| --- | --- | --- | --- | --- | --- |\n")  # fmt: skip
HOSES_HEAD = "| hose | length | bore | at | loses |\n| --- | --- | --- | --- | --- |\n"


def bar_text() -> str:
    """The machine file of the bar."""
    return TOML.format(
        main=MAIN.loss_bar, section=SECTION.loss_bar,
        regulating=REGULATING_BAR + STRAINER_BAR + MAIN.loss_bar,
        valve=VALVE_BAR + SECTION.loss_bar)  # fmt: skip


def points() -> list[dict[str, float]]:
    """What `size` answers for it, at each speed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, BAR.name)
        path.write_text(bar_text(), encoding="utf-8")
        answer = solve(read_request({field.name: None for field in FIELDS}, None, path))
    told = document(answer)
    if told["fits"] != "all":
        raise RuntimeError("the worked bar does not fit")
    return list(told["rates"][0]["points"])


def point_rows() -> Iterator[str]:
    """The table of pressures."""
    for point in points():
        outlet, pump = point["outlet_pressure_bar"], point["pump_pressure_bar"]
        yield (f"| {point['speed_km_h']:g} km/h | {point['outlet_flow_l_min']:.2f} L/min "
               f"| {point['total_flow_l_min']:.1f} L/min | {outlet:.2f} bar | {pump:.2f} bar "
               f"| {pump - outlet:.2f} bar |\n")


def hose_rows() -> Iterator[str]:
    """The table of hoses."""
    for hose in (MAIN, SECTION):
        yield (f"| {hose.what} | {hose.length_m:g} m | {hose.bore_mm:g} mm "
               f"| {hose.flow_l_min:g} L/min | {hose.loss_bar:.2f} bar |\n")


# --- drawing ------------------------------------------------------------------------------------

WIDTH, HEIGHT = 1120, 560
CHAIN = (  # words in a box, from left to right; the last one is the manifold
    ("tank", "with vent and", "suction filter"), ("shut-off",), ("strainer", "50 mesh"),
    ("pump",), ("relief", "5 bar"), ("regulating", "valve"),
    ("meter", "10 bores before", "5 behind"), ("manifold", "gauge 0-6 bar"),
)  # fmt: skip
STEP, BOX_W, BOX_H, TOP = 136, 104, 56, 90


def drawing() -> str:
    """The bar as an SVG."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        'font-family="sans-serif" font-size="13" text-anchor="middle">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        text(WIDTH / 2, 28, "Bar of 3 m, three sections of two outlets", 18),
        text(WIDTH / 2, 50, "Not built. Release the pressure before you open anything."),
    ]
    for index, words in enumerate(CHAIN):
        parts += box(16 + STEP * index, TOP, words)
        if index:
            x = 16 + STEP * index
            parts.append(line(x - STEP + BOX_W, TOP + BOX_H / 2, x, TOP + BOX_H / 2))
    parts += relief_return()
    manifold = 16 + STEP * (len(CHAIN) - 1) + BOX_W / 2
    for number in range(3):
        parts += section(number, manifold)
    return "\n".join([*parts, "</svg>", ""])


def text(x: float, y: float, words: str, size: int = 13) -> str:
    """Words with their middle at a place."""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}">{words}</text>'


def line(x1: float, y1: float, x2: float, y2: float) -> str:
    """A pipe."""
    return (f'<line x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke="black" '
            'stroke-width="3"/>')


def box(x: float, y: float, words: tuple[str, ...]) -> list[str]:
    """A part of the chain."""
    first = y + BOX_H / 2 + 5 - 8 * (len(words) - 1)
    return [
        f'<rect x="{x:g}" y="{y:g}" width="{BOX_W}" height="{BOX_H}" fill="#eef4fa" '
        'stroke="black"/>',
        *(text(x + BOX_W / 2, first + 16 * row, word) for row, word in enumerate(words)),
    ]


def relief_return() -> list[str]:
    """The way back from the relief valve to the tank."""
    relief, tank, low = 16 + STEP * 4 + BOX_W / 2, 16 + BOX_W / 2, TOP + BOX_H + 34
    return [
        line(relief, TOP + BOX_H, relief, low), line(relief, low, tank, low),
        line(tank, low, tank, TOP + BOX_H),
        text((relief + tank) / 2, low + 18, "back to the tank, nothing that can be shut in it"),
    ]  # fmt: skip


def section(number: int, manifold: float) -> list[str]:
    """A section: its valve, its hose, two outlets 0.5 m apart with check valves."""
    y = 240 + 100 * number
    valve_x, letters = 560, "ABC"[number]
    parts = [line(manifold, TOP + BOX_H, manifold, y + BOX_H / 2),
             line(manifold, y + BOX_H / 2, valve_x + BOX_W, y + BOX_H / 2),
             *box(valve_x, y, (f"section {number + 1}", f"valve at Q{letters}")),
             line(valve_x, y + BOX_H / 2, 120, y + BOX_H / 2),
             text(440, y + BOX_H / 2 - 8, f"hose {SECTION.length_m:g} m, {SECTION.bore_mm:g} mm")]
    for x in (120, 300):
        parts += [line(x, y + BOX_H / 2, x, y + BOX_H / 2 + 26),
                  f'<polygon points="{x - 9},{y + 54} {x + 9},{y + 54} {x},{y + 70}"/>',
                  text(x, y + 14, "check 0.5 bar, outlet 03")]
    return parts


def texts() -> dict[Path, str]:
    """Machine file, page and drawing."""
    page = PAGE.read_text("utf-8")
    page = between_marks(page, "pressures", POINTS_HEAD + "".join(point_rows()))
    page = between_marks(page, "hoses", HOSES_HEAD + "".join(hose_rows()))
    return {BAR: bar_text(), PAGE: page, DRAWING: drawing()}
