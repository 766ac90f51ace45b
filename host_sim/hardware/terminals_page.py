"""The terminal strips as a page and as drawings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from host_sim.hardware.circuit import Part
from host_sim.hardware.svg import Svg
from host_sim.hardware.terminals import (
    DIRECTORY,
    ELSEWHERE,
    LEADS_MOST,
    PAGES,
    PITCH_MM,
    REACH,
    STRIP_MOST,
    page_parts,
    strip_of,
)

PAGE_HEAD = f"""\
# Terminal strips

> **Not built.** Made by a script from the circuit table and checked against it, lead by lead, but
> nobody has screwed one together. A lead under the wrong screw can run a pump: afterwards ring out
> every pair of neighbouring terminals that no bridge joins, then go through
> [first power](first_power.md). A loose screw under 17 A burns: tighten, pull, tighten again
after a > day. The [cautions](wiring.md) hold for all work on it.

Made by `python -m host_sim hardware draw`; do not edit. Supply, pump driver, section drivers and
valve bridge carry what no stripboard bears. Each is a strip of screw terminals for 4 mm2 (25 A or
more), {PITCH_MM:g} mm apart, cut into rows of {STRIP_MOST} where it is longer; at most
{LEADS_MOST} leads under a screw. *Bridge* joins a terminal to the next. Parts are screwed between
the terminals by their own leads, over which sleeving goes; a lead that has to reach further than
{REACH} terminals, and every pin of a chip, transistor or relay, by a wire as thick as its
[cable](cables.md). Fuses and the relay sit in holders. *{ELSEWHERE}* is a wire to the terminal of
the same net on another strip, or to that name on a [stripboard](stripboard.md). Ground of all
strips goes to terminal GND of *supply*, one wire each, 4 mm2.

A cathode (K of the drawing) is pin 1 of a diode, + is pin 1 of a capacitor, gate, drain and source
are 1, 2 and 3 of a transistor.
"""


def page_text() -> str:
    """hardware/terminals.md."""
    text = PAGE_HEAD
    for page in PAGES:
        strip = strip_of(page)
        text += f"\n## {page.capitalize()}\n\n![{page}](terminals/{file_name(page)})\n\n"
        text += "| terminal | net | bridge | leads |\n| --- | --- | --- | --- |\n"
        for index, (net, leads) in enumerate(zip(strip.nets, strip.leads, strict=True)):
            bridge = f"to {index + 2}" if index in strip.bridges else ""
            text += f"| {index + 1} | `{net}` | {bridge} | {', '.join(leads)} |\n"
    return text


def file_name(page: str) -> str:
    """Of a drawing."""
    return page.replace(" ", "_") + ".svg"


# --- drawing ------------------------------------------------------------------------------------

LEFT, TOP = 8.0, 22.0
DEEP = 10.0  # of a terminal
ROOM = 62.0  # from row to row of a strip: 24 of them above for parts, below for names


def place(index: int) -> tuple[float, float]:
    """The upper left corner of a terminal."""
    row, column = divmod(index, STRIP_MOST)
    return LEFT + column * PITCH_MM, TOP + 24 + row * ROOM


def drawing(page: str) -> str:
    """A strip in its true size; parts with two leads are drawn as arcs between their screws."""
    strip, parts = strip_of(page), page_parts(page)
    rows = -(-len(strip.nets) // STRIP_MOST)
    svg = Svg(LEFT * 2 + STRIP_MOST * PITCH_MM, TOP + ROOM * rows)
    svg.words(LEFT, 7, f"{page}: terminal strip", 4)
    svg.words(LEFT, 12, "Not built. True size; dark bars are bridges. Wires to chips, transistors, "
                        "relay and elsewhere are named under their screw.", 2.2)
    for index, net in enumerate(strip.nets):
        x, y = place(index)
        svg.box(x, y, PITCH_MM, DEEP, "#f3efe6")
        svg.circle(x + PITCH_MM / 2, y + DEEP / 2, 2.0, "white")
        svg.words(x + 0.6, y + 2.2, str(index + 1), 1.8)
        svg.upright(x + PITCH_MM / 2 - 1.6, y + DEEP + 1, net, 2.2)
        if index in strip.bridges and (index + 1) % STRIP_MOST:
            svg.box(x + PITCH_MM / 2, y + DEEP - 2.2, PITCH_MM, 1.4, "#333333")
    seen: Counter[tuple[int, ...]] = Counter()
    for ref, part in parts.items():
        ends = [strip.place(f"{ref} pin {pin}") for pin, net in part.nets.items() if net]
        if len(part.nets) == 2 and part.kind != "CONN" and len(ends) == 2:
            arc(svg, ref, ends, seen)
    for index, leads in enumerate(strip.leads):
        named = [short(lead) for lead in leads if is_named(lead, parts)]
        x, y = place(index)
        for row, lead in enumerate(named):
            svg.upright(x + PITCH_MM / 2 + 0.8 + 2.0 * row, y + DEEP + 1, lead, 1.8)
    return svg.text()


def is_named(lead: str, parts: Mapping[str, Part]) -> bool:
    """Whether a lead is no end of an arc."""
    part = parts.get(lead.partition(" pin ")[0])
    return part is None or len(part.nets) != 2 or part.kind == "CONN"


def short(lead: str) -> str:
    """A lead as it fits under a screw."""
    return "elsewhere" if lead.endswith(ELSEWHERE) else lead.replace(" pin ", ".")


def arc(svg: Svg, ref: str, ends: list[int], seen: Counter[tuple[int, ...]]) -> None:
    """A part between two screws; one that changes rows is named at both ends.

    `seen` counts what is there already, so that no two stand in the same place.
    """
    low, high = sorted(ends)
    places = [(place(index)[0] + PITCH_MM / 2, place(index)[1]) for index in (low, high)]
    if low // STRIP_MOST != high // STRIP_MOST:
        for (x, y), one, other in zip(places, (low, high), (high, low), strict=True):
            svg.stroke(x, y, x, y - 4, 0.5)
            svg.upright(x - 2.6 + 2.2 * seen[one,], y - 17, f"{ref} to {other + 1}", 1.8)
            seen[one,] += 1
        return
    (x1, y), (x2, _) = places
    height = min(3.5 + 1.1 * (high - low), 18) + 2.5 * seen[low, high]
    seen[low, high] += 1
    svg.path(f"M{x1:.2f} {y:.2f} Q{(x1 + x2) / 2:.2f} {y - 2 * height:.2f} {x2:.2f} {y:.2f}")
    svg.words((x1 + x2) / 2 - 2, y - height - 0.4, ref, 1.9)


def texts() -> dict[Path, str]:
    """The page and a drawing of each strip."""
    found = {DIRECTORY.parent / "terminals.md": page_text()}
    return found | {DIRECTORY / file_name(page): drawing(page) for page in PAGES}


