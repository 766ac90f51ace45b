"""Runs pages of the exported netlist in ngspice, with what a test puts around them."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from host_sim.hardware import drawings
from host_sim.hardware.schematic import kicad
from host_sim.hardware.sheets import circuit
from host_sim.hardware.simulation.models import library_text

PROGRAM = "ngspice"
BOARD = "rp2"  # the pages are the same for every board
Trace = np.ndarray


def missing() -> str:
    """Why nothing can be simulated here, "" where it can."""
    if not shutil.which(PROGRAM):
        return f"{PROGRAM} is not here; hardware/README.md says how to get it"
    return "" if kicad.is_here() else kicad.MISSING


@dataclass(frozen=True)
class Setup:
    """What is simulated: pages, or single parts, and lines around them.

    `corner` sets values of models.SPREADS; `scale` multiplies single resistors and capacitors, by
    reference.
    """

    pages: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    corner: Mapping[str, float] = field(default_factory=dict)
    scale: Mapping[str, float] = field(default_factory=dict)


@cache
def exported() -> Mapping[str, list[str]]:
    """The words of each element that KiCad exports, by the reference of its part."""
    parts = circuit(BOARD).parts
    found = {}
    for line in kicad.spice_netlist(drawings.first_page(BOARD)).splitlines():
        name, *words = line.split() or [""]
        ref = name if name in parts else name.removeprefix("X")
        if ref in parts and words and words[0] != f"__{ref}":
            found[ref] = [name, *(node_name(word) for word in words[:-1]), words[-1]]
    return found


def node_name(name: str) -> str:
    """A net's name as the circuit table has it: without the page, and without odd letters."""
    return re.sub(r"[^\w.+-]", "_", name.rsplit("/", 1)[-1])


def element_lines(setup: Setup) -> list[str]:
    """The lines of the parts that a set-up takes from the export."""
    wanted = {part.ref for sheet in circuit(BOARD).sheets if sheet.name in setup.pages
              for part in sheet.parts} | set(setup.parts)  # fmt: skip
    lines = []
    for ref, words in exported().items():
        if ref not in wanted - set(setup.without):
            continue
        *head, last = words
        if ref in setup.scale:
            last = f"{{{last}*{setup.scale[ref]}}}"
        lines.append(" ".join([*head, last]))
    return lines


def simulate(
    setup: Setup, vectors: Iterable[str], stop_s: float, step_s: float, start_s: float = 0.0
) -> tuple[Trace, dict[str, Trace]]:
    """Run it in time from its resting point; returns the times and each vector over them.

    Raises RuntimeError with the simulator's words where it finds no solution.
    """
    named = list(vectors)
    library = library_text(setup.corner)
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder, "table")
        text = "\n".join([
            "* a bench", library, *element_lines(setup), *setup.lines,
            ".options method=gear reltol=2e-3 abstol=1e-9 itl4=200 gmin=1e-11 rshunt=1e12",
            ".options savecurrents" if any("[" in name for name in named) else "",
            ".control", "set wr_singlescale", "set wr_vecnames",
            f"tran {step_s:g} {stop_s:g} {start_s:g} {step_s:g}",
            f"wrdata {table} {' '.join(named)}", "quit", ".endc", ".end", "",
        ])  # fmt: skip
        netlist = Path(folder, "bench.cir")
        netlist.write_text(text)
        done = subprocess.run([PROGRAM, "-b", str(netlist)], capture_output=True, text=True,
                              check=False, cwd=folder)  # fmt: skip
        if not table.exists():
            raise RuntimeError((done.stderr or done.stdout)[-2000:])
        columns = np.loadtxt(table, skiprows=1, ndmin=2)
    if columns[-1, 0] < 0.99 * stop_s:
        raise RuntimeError(f"{PROGRAM} stopped at {columns[-1, 0]:g} s")
    return columns[:, 0], {name: columns[:, number] for number, name in enumerate(named, 1)}


def mean(times: Trace, values: Trace) -> float:
    """The mean over time."""
    return float(np.trapezoid(values, times) / (times[-1] - times[0]))


def integral(times: Trace, values: Trace) -> float:
    """The integral over time."""
    return float(np.trapezoid(values, times))
