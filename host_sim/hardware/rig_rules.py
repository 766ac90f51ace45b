"""The rules of the bench rig's pins; they are checked whenever its program is built.

The rig is the other end of the controller's pins: what is an output there is an input here. Its
board is one of the Pico shape.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from host_sim import FIRMWARE_DIR
from host_sim.common.errors import InputError
from host_sim.hardware import boards
from host_sim.hardware.boards import BoardData
from host_sim.hardware.pin_rules import (
    Finding,
    PinTable,
    of_double_use,
    of_presence,
    read_table,
)
from host_sim.hardware.pio_rules import PioUse, pio_findings
from host_sim.hardware.signals import BY_NAME

RIG_DIR = FIRMWARE_DIR / "bench_rig"
TABLE = "rig_pins.py"
BOARD = "rp2"
USE = PioUse("rp2_port.py", "rig_pio.py", {
    "DUTY_MACHINES": "time_high", "PULSE_MACHINES": "send_pulses",
    "TAKE_MACHINES": "take_register", "GIVE_MACHINES": "give_register",
})
# What a wire between the two boards leads to the rig, and what from there.
HEARD = ("PUMP", "VALVE_OPEN", "VALVE_CLOSE", "SECTION_CLOCK", "SECTION_DATA", "SECTION_LATCH",
         "SECTION_OFF")
GIVEN = ("SWITCH_DATA", "MASTER", "IMPLEMENT", "SPEED", "FLOW", "SUPPLY")
IN_A_ROW = ("SECTION_CLOCK", "SECTION_DATA")  # one `mov(osr, pins)` takes both
SERIES_OHM = 1000.0  # in every wire between the boards
RAIL_V = 3.3


def of_wires(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """Every wire has a pin, and every pin is a wire whose other end goes the other way."""
    for name in table.gpio:
        if name not in HEARD + GIVEN:
            yield name, "is no wire of the bench rig"
    for name in HEARD + GIVEN:
        if name not in table.gpio:
            yield name, "has no pin"
        if BY_NAME[name].is_output != (name in HEARD):
            yield name, "is driven from both ends, or from none"


def of_register(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """The pins that the register's program takes at once follow each other."""
    first, second = (table.gpio.get(name) for name in IN_A_ROW)
    if first is not None and second is not None and second != first + 1:
        yield IN_A_ROW[1], f"must follow {IN_A_ROW[0]}: GPIO {first + 1}, is {second}"


def of_short_circuit(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """Two pins that drive against each other give no more than the data sheet allows."""
    load_ma = 1e3 * RAIL_V / SERIES_OHM
    if load_ma > board.pin_ma or load_ma * len(HEARD + GIVEN) > board.total_ma:
        yield "the table", (f"a wire whose ends drive against each other carries {load_ma:g} mA: "
                            "a larger resistor")


RULES: tuple[Callable[[PinTable, BoardData], Iterator[Finding]], ...] = (
    of_wires, of_double_use, of_presence, of_register, of_short_circuit,
)


def rig_table(directory: Path = RIG_DIR) -> PinTable:
    """The rig's pins."""
    return read_table(directory / TABLE)


def check_rig(directory: Path = RIG_DIR) -> None:
    """Raise InputError with everything that is wrong with the rig's pins or state machines."""
    table, board = rig_table(directory), boards.board(BOARD)
    problems = [table.shown(found) for rule in RULES for found in rule(table, board)]
    problems += pio_findings(directory, board.state_machines, USE)
    if problems:
        raise InputError(*problems)
