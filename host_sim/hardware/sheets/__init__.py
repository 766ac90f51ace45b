"""The circuit, a module for each group of sheets; `circuit` puts them around a board."""

from __future__ import annotations

from functools import cache

from host_sim.hardware import boards
from host_sim.hardware.circuit import Circuit, Note, Part, Sheet
from host_sim.hardware.pin_rules import PINS_DIR, PinTable, read_table
from host_sim.hardware.sheets import display, drivers, pulse_inputs, receivers, supply, switches

RAIL_OF = {"GND": "GND", "3V3": "3V3", "5V": "VSYS"}


def board_sheet(name: str, table: PinTable) -> Sheet:
    """The first page: the board, each of its pins with the signal that the firmware has there."""
    facts = boards.board(name)
    nets = {str(hole): "" for hole in range(1, 2 * facts.rows + 1)}
    for signal, gpio in table.gpio.items():
        nets[str(facts.holes[gpio])] = signal
    for rail, holes in facts.rails.items():
        nets |= {str(hole): RAIL_OF[rail] for hole in holes}
    module = Part("U1", "BOARD", facts.title, f"board {name}", nets, (38, 24),
                  labelled=True)
    return Sheet("board", (module,), notes=(
        Note("Board in a socket. Its 3V3 pin feeds the 3.3 V parts, up to 300 mA.", (10, 52)),
        Note("The marks below tell the rule check which rails are fed.", (10, 64)),
    ))  # fmt: skip


@cache
def circuit(name: str) -> Circuit:
    """The whole circuit around the board of this name."""
    table = read_table(PINS_DIR / f"{name}_pins.py")
    sheets = [board_sheet(name, table), supply.sheet(), pulse_inputs.sheet(), switches.sheet(),
              drivers.pump(), drivers.sections(), drivers.bridge(), display.sheet()]  # fmt: skip
    if "GNSS_RX" in table.gpio and "CAN_SELECT" in table.gpio:
        sheets.append(receivers.receiver())
    if "PRESSURE" in table.gpio:
        sheets.append(receivers.pressure())
    return Circuit(name, tuple(sheets))
