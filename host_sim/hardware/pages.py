"""The pages that are made from the tables: parts, cables and fuses."""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.hardware import (
    boards,
    cables,
    enclosure,
    enclosure_page,
    plumbing,
    stripboard,
    terminals_page,
)
from host_sim.hardware.circuit import Circuit
from host_sim.hardware.parts_list import ITEMS
from host_sim.hardware.sheets import circuit

HARDWARE_DIR = REPO_ROOT / "hardware"
MADE = "Made by `python -m host_sim hardware draw`; do not edit."
PARTS_HEAD = f"""\
# Parts list

> **Not built.** Nobody has built this circuit. Part numbers are generic ones that several makers
> use, and ratings are from their data sheets by memory: read the sheet of what you buy. The
> [cautions](wiring.md) hold for all work on it.

{MADE} References are those of the [drawing](schematic/controller_rp2.pdf). Columns *or* are
substitutes; where one has another pin order or package, it says so. The [margins](margins.md) are
those of the first choice.

| count | part | first choice | or | or | references |
| --- | --- | --- | --- | --- | --- |
"""
DISPLAYS = """
## Displays

The firmware looks for a display at these addresses when it starts and drives the one that it
finds (`firmware/boards/front_panel.py`). Fit one of them.

| display | controller | address | supply | connector |
| --- | --- | --- | --- | --- |
| graphic OLED, 128 x 64 dots | SSD1306 | 3C | 3.3 V | J21 |
| character LCD, 20 x 4 | HD44780 behind a PCF8574 | 27 | 5 V | J22, over the level shifter |
| the same | HD44780 behind a PCF8574A | 3F | 5 V | J22, over the level shifter |

An OLED with another controller (SH1106, SSD1309) is not driven. Check the order of the four pins on
yours: some have supply and ground the other way round.

## Not part of the circuit board

| count | what | why |
| --- | --- | --- |
| 1 | box, IP65 or better, inside {box}, drilled as the [sheet](enclosure.md) | spray and rain |
| {count} | cable glands: {sizes} | underneath, one for each cable |
| 1 | aluminium plate 100 x 100 x 3 mm, or heat sinks of 10 K/W | Q1, D14 and U7, tabs insulated |
| 1 | main switch of the machine for 50 A in the battery wire | a relay can weld |
| 8 | fuse holders, F1 and F3 within 20 cm of the battery | a wire without a fuse is a fire |
| 2 | sockets for the board | it comes out without solder |
"""
CABLES_HEAD = f"""\
# Cables, connectors and fuses

> **Not built.** Lengths are chosen for a small machine, not measured on one. A wire that chafes
> through on a frame starts a fire or a pump: fuse at the battery, grommets, and no wire loose near
> anything that turns. The [cautions](wiring.md) hold.

{MADE} A cable loses at most {cables.DROP_MOST_PCT:g} % of 12 V; resistance and rating of copper
from [guidance on cable](http://rydertowing.co.uk/towbar-wiring/cable). Colours are this project's
own.
Screens go to ground at the controller only.

| connector | what | pin: net, colour | length | wire | carries | loses |
| --- | --- | --- | --- | --- | --- | --- |
"""
FUSES_HEAD = f"""
## Fuses

A fuse is rated {cables.HEADROOM:g} times the steady load or more (common practice, no source) and
no more than the thinnest wire behind it carries. It guards the wire, not the part.

| fuse | behind it | load | at least | rated | thinnest wire | which carries |
| --- | --- | --- | --- | --- | --- | --- |
"""


def parts_page() -> str:
    """hardware/parts.md."""
    text = PARTS_HEAD
    for name in boards.names():
        if name == boards.names()[0]:
            text += part_rows(circuit(name))
        else:
            text += "\n" + only_there(name)
    threads = Counter(hole.name.split()[1] for hole in enclosure.glands())
    return text + DISPLAYS.format(
        box=f"{enclosure.WIDTH:g} x {enclosure.HEIGHT:g} x {enclosure.DEPTH:g} mm or more",
        count=threads.total(),
        sizes=", ".join(f"{count} {thread}" for thread, count in sorted(threads.items())))


def part_rows(wired: Circuit) -> str:
    """A row for each item of a circuit, in the order of the parts list."""
    references = defaultdict(list)
    for part in wired.parts.values():
        references[part.item].append(part.ref)
    return "".join(
        f"| {len(references[name])} | {item.what} | {' | '.join(item.choices)} "
        f"| {', '.join(sorted(references[name], key=natural))} |\n"
        for name, item in ITEMS.items()
        if name in references
    )


def natural(ref: str) -> tuple[str, int]:
    """R9 comes before R10."""
    letters = ref.rstrip("0123456789")
    return letters, int(ref[len(letters):])


def only_there(name: str) -> str:
    """What another board takes instead."""
    first, other = circuit(boards.names()[0]).parts, circuit(name).parts
    gone = sorted((ref for ref in set(first) - set(other)), key=natural)
    item = ITEMS[f"board {name}"]
    return (f"With {boards.board(name).title}: {item.what} ({', '.join(item.choices)}) as U1, and "
            f"without {', '.join(gone)}.\n")


def cables_page() -> str:
    """hardware/cables.md."""
    parts = circuit(boards.names()[0]).parts
    text = CABLES_HEAD
    for cable in cables.TABLE:
        part = parts[cable.connector]
        pins = "; ".join(f"{pin}: {net}, {colour}" for (pin, net), colour
                         in zip(part.nets.items(), cable.colours, strict=True))  # fmt: skip
        wire = f"{cable.mm2:g} mm2{', screened' if cable.screened else ''}"
        text += (f"| {part.ref} | {part.value} | {pins} | {cable.length_m:g} m | {wire} "
                 f"| {cable.amps:g} A | {cable.drop_v:.2f} V |\n")
    text += FUSES_HEAD
    for case in cables.FUSES:
        text += (f"| {case.ref} | {case.what} | {case.load_a:g} A "
                 f"| {cables.HEADROOM * case.load_a:.2g} A | {cables.RATINGS_A[case.ref]:g} A "
                 f"| {case.mm2:g} mm2 | {cables.CABLES[case.mm2][1]:g} A |\n")
    return text


def texts() -> dict[Path, str]:
    """Every page that is made without a simulator."""
    return {HARDWARE_DIR / "parts.md": parts_page(), HARDWARE_DIR / "cables.md": cables_page(),
            **plumbing.texts(), **stripboard.texts(), **terminals_page.texts(),
            **enclosure_page.texts()}  # fmt: skip
