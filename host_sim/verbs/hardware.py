"""`python -m host_sim hardware`: drawings, checks and margins of the circuit."""

from __future__ import annotations

import argparse

HELP = "draw the circuit, check it against the firmware, show its margins"

EPILOG = """\
draw     writes the KiCad files in hardware/schematic, and prints them as PDF where KiCad is here;
         the pages with parts, cables and fuses, the worked bar
check    pin tables; KiCad's rule check; its netlist against circuit table, firmware, parts list
margins  the circuit in ngspice: every stress, its worst value and its limit; about half a minute.
         It writes the table to hardware/margins.md, and what a meter shows to first_power.md
All work on every board. Exit status: 0, or 1 if something is found or beyond its limit, or 2 for
bad input.

example:
  python -m host_sim hardware check

caution: nobody has built this circuit yet. It switches pumps and valves under pressure; read
hardware/README.md before you wire anything. Label, machine manual and local rules prevail.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.epilog = EPILOG
    parser.add_argument("action", choices=tuple(ACTIONS), help="what to do")


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from host_sim import CHECKED_OUT
    from host_sim.common.errors import InputError

    if not CHECKED_OUT:
        raise InputError("the drawings are in the project's tree: run it in a checkout")
    return ACTIONS[args.action]()


def draw() -> int:
    """Write the drawings."""
    from host_sim.common.output import write_paths
    from host_sim.hardware import boards, drawings, pages
    from host_sim.hardware.schematic import kicad

    texts = {**drawings.texts(), **pages.texts()}
    for path in texts:
        path.parent.mkdir(parents=True, exist_ok=True)
    written = write_paths(texts)
    if kicad.is_here():
        written += [drawings.write_print(name) for name in boards.names()]
    print(f"{len(written)} files in hardware")
    if not kicad.is_here():
        print(f"not printed: {kicad.MISSING}")
    return 0


def check() -> int:
    """Check pins and drawings."""
    from host_sim.common.errors import InputError
    from host_sim.hardware import boards, cables, drawings
    from host_sim.hardware.pin_rules import check_pins
    from host_sim.hardware.schematic import kicad
    from host_sim.hardware.sheets import circuit

    check_pins()
    if not kicad.is_here():
        raise InputError(kicad.MISSING)
    found = [f"{name}: {line}" for name in boards.names()
             for line in (*drawings.findings(name), *cables.findings(circuit(name)))]  # fmt: skip
    for line in found:
        print(line)
    if not found:
        print("pins, rule check and netlists: nothing found")
    return 1 if found else 0


def margins() -> int:
    """Simulate, show, and keep the table."""
    from host_sim.common.errors import InputError
    from host_sim.common.output import write_paths
    from host_sim.common.progress import progress
    from host_sim.hardware.simulation import bench, first_power, table
    from host_sim.hardware.simulation.margins import CASES

    if bench.missing():
        raise InputError(bench.missing())
    found = []
    with progress("simulating") as tell:
        for number, case in enumerate(CASES, 1):
            found += list(case())
            tell(number / len(CASES))
    for line in table.rows(found):
        print(line)
    write_paths({table.PAGE: table.page(found), **first_power.texts()})
    broken = sum(not margin.kept for margin in found)
    print(f"{len(found)} margins, {broken} not kept; written to hardware/{table.PAGE.name}")
    return 1 if broken else 0


ACTIONS = {"draw": draw, "check": check, "margins": margins}
