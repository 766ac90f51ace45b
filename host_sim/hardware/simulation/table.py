"""The table of margins as text and as a page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from host_sim import REPO_ROOT
from host_sim.hardware.simulation.margins import Margin

PAGE = REPO_ROOT / "hardware" / "margins.md"
HEAD = """\
# Margins

> **Not built.** These are simulations with models from data sheets, at the corners of their
> tolerances. Nobody has built this circuit, and no margin here has been measured. A circuit that
> passes them can still hurt somebody: the [cautions](wiring.md) hold.

Made by `python -m host_sim hardware margins`, which runs ngspice on the netlist that KiCad exports
from the [drawing](schematic/controller_rp2.pdf); do not edit. A row tells what a value comes to at
the worst, and what it must not exceed, or fall below. Stresses are those of ISO 16750-2 and ISO
7637-2 with the figures and sources in [wiring](wiring.md#supply-of-the-controller); *chosen* is a
limit of this project.

| what | when | worst | limit | limit from |
| --- | --- | --- | --- | --- |
"""


def number(value: float, unit: str) -> str:
    """A value with three figures and its unit."""
    text = f"{value:.3g}" if 0.001 <= abs(value) < 1000 else f"{abs(value):.0f}"
    return f"{text} {unit}".rstrip()


def limit(margin: Margin) -> str:
    """The limit in words."""
    return f"{'at least' if margin.above else 'at most'} {number(margin.limit, margin.unit)}"


def rows(margins: Iterable[Margin]) -> Iterator[str]:
    """A line for a terminal for each margin."""
    for margin in margins:
        mark = " " if margin.kept else "!"
        value = number(margin.value, margin.unit)
        yield f"{mark} {margin.what:40} {margin.case:38} {value:>10}  {limit(margin)}"


def page(margins: Iterable[Margin]) -> str:
    """The whole page."""
    return HEAD + "".join(
        f"| {margin.what} | {margin.case} | {number(margin.value, margin.unit)} "
        f"| {limit(margin)}{'' if margin.kept else ' **NOT KEPT**'} | {margin.source} |\n"
        for margin in margins
    )
