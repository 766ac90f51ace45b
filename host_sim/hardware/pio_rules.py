"""What the programmable input and output of an RP2040 or RP2350 can hold, checked with the pins.

A block has four state machines and room for 32 instructions, which its machines share
(RP2040 data sheet, section 3.1; the RP2350 has one block more).
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

MACHINES_A_BLOCK = 4
ROOM = 32
NO_INSTRUCTION = {"label", "wrap", "wrap_target", "side"}


@dataclass(frozen=True)
class PioUse:
    """A file that starts state machines, one with their programs, and by each constant of the
    first, which holds numbers of machines, the program that these run.
    """

    driver: str
    programs: str
    runs: Mapping[str, str]


CONTROLLER = PioUse("rp2_board.py", "rp2_pulse_pio.py",
                    {"COUNT_MACHINES": "count_edges", "VALVE_MACHINES": "one_shot"})


def pio_findings(directory: Path, state_machines: int, use: PioUse = CONTROLLER) -> Iterator[str]:
    """What is wrong with the driver's use of a chip that has this many state machines."""
    driver = ast.parse((directory / use.driver).read_text("utf-8"))
    lengths = program_lengths(directory / use.programs)
    users: dict[int, str] = {}
    blocks: dict[int, set[str]] = {}
    for node in driver.body:
        if not isinstance(node, ast.Assign) or not isinstance(node.targets[0], ast.Name):
            continue
        name = node.targets[0].id
        for machine in ast.literal_eval(node.value) if name in use.runs else ():
            place = f"{directory / use.driver}:{node.lineno}: {name}: state machine {machine}"
            if not 0 <= machine < state_machines:
                yield f"{place} is none of the chip's {state_machines}"
            if machine in users:
                yield f"{place} is in {users[machine]} already"
            users[machine] = name
            blocks.setdefault(machine // MACHINES_A_BLOCK, set()).add(use.runs[name])
    for block, programs in sorted(blocks.items()):
        length = sum(lengths[program] for program in programs)
        if length > ROOM:
            yield (f"{directory / use.programs}:1: block {block}: {length} instructions of "
                   f"{', '.join(sorted(programs))}, there is room for {ROOM}")


def program_lengths(path: Path) -> dict[str, int]:
    """Instructions of each program in a file, by the name of its function."""
    tree = ast.parse(path.read_text("utf-8"))
    return {
        node.name: sum(map(is_instruction, node.body))
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and node.decorator_list
    }


def is_instruction(statement: ast.stmt) -> bool:
    """Whether a statement of a program is an instruction, with or without a delay behind it."""
    call = statement.value if isinstance(statement, ast.Expr) else None
    if isinstance(call, ast.Subscript):
        call = call.value
    return (isinstance(call, ast.Call) and isinstance(call.func, ast.Name)
            and call.func.id not in NO_INSTRUCTION)
