"""The drawings in hardware/schematic: written from the circuit table, read back through KiCad."""

from __future__ import annotations

import re
from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.hardware import boards, netlist_rules
from host_sim.hardware.pin_rules import PINS_DIR, read_table
from host_sim.hardware.schematic import kicad
from host_sim.hardware.schematic.files import files_of
from host_sim.hardware.sheets import circuit

SCHEMATIC_DIR = REPO_ROOT / "hardware" / "schematic"
PRINT_OPTIONS = ("--exclude-pdf-property-popups", "--exclude-pdf-hierarchical-links",
                 "--exclude-pdf-metadata", "--no-background-color")  # fmt: skip
PRINTED_BY = "9.0.8"  # the version that made the prints; another draws some strokes otherwise
PRINT_DATE = b"20000101000000"  # a print has none of its own, so that it is the same tomorrow


def texts(directory: Path = SCHEMATIC_DIR) -> dict[Path, str]:
    """Every file of the drawings, of all boards."""
    return {
        directory / name / file: text
        for name in boards.names()
        for file, text in files_of(circuit(name), boards.board(name)).items()
    }


def first_page(name: str, directory: Path = SCHEMATIC_DIR) -> Path:
    """The file to open for a board."""
    return directory / name / f"controller_{name}.kicad_sch"


def print_of(name: str, directory: Path = SCHEMATIC_DIR) -> Path:
    """The print of a board's drawing."""
    return directory / f"controller_{name}.pdf"


def write_print(name: str, directory: Path = SCHEMATIC_DIR) -> Path:
    """Let KiCad print a drawing; returns the file."""
    path = print_of(name, directory)
    kicad.run("sch", "export", "pdf", *PRINT_OPTIONS, "-o", str(path),
              str(first_page(name, directory)))  # fmt: skip
    dated = re.sub(rb"(?<=CreationDate \(D:)\d{14}", PRINT_DATE, path.read_bytes())
    path.write_bytes(dated)
    return path


def findings(name: str, directory: Path = SCHEMATIC_DIR) -> list[str]:
    """What is wrong with a board's drawing as KiCad sees it, a line each."""
    schematic = first_page(name, directory)
    seen = kicad.netlist(schematic)
    table = read_table(PINS_DIR / f"{name}_pins.py")
    return [
        *(f"rule check: {found}" for found in kicad.violations(schematic)),
        *(f"against the table: {found}"
          for found in kicad.differences(circuit(name).parts, seen)),
        *(f"against the firmware: {found}"
          for found in netlist_rules.findings(seen, table, boards.board(name))),
    ]  # fmt: skip
