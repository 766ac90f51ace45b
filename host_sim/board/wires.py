"""What has to be wired for a machine file: the pins that this machine uses, and no others."""

from __future__ import annotations

from collections.abc import Iterator

from host_sim.build.pin_reference import CHIPS, WIRES
from host_sim.common.errors import InputError
from host_sim.machine_file.homes import FITTED
from host_sim.machine_file.machine import MachineFile
from host_sim.machine_file.values import show
from rate_control.settings import row
from rate_control.units import PWM_PUMP

LETTERS = "ABCDEFGH"  # of the inputs and outputs of a shift register
VALVE = ("VALVE_OPEN", "VALVE_CLOSE")
RECEIVER = ("GNSS_RX", "GNSS_TX")
FOR_CHECKS = ("TEST",)


def chip_of(machine: MachineFile) -> str:
    """The chip that fitted.board names; that of the Pico shape where it names none."""
    board = str(machine.source.data.get(FITTED, {}).get("board", "")).lower()
    return "esp32" if "esp32" in board else "rp2"


def wire_lines(machine: MachineFile, chip: str) -> Iterator[str]:
    """The list, a line for each pin in the order of hardware/wiring.md, then the sections."""
    settings = machine.settings
    words, pins = CHIPS[chip]
    receiver = bool(settings.speed_source)
    if receiver and not hasattr(pins, RECEIVER[0]):
        raise InputError(f"{machine.path}: fitted.speed_source: no pins for a GNSS receiver on "
                         f"{words}")
    unused = {*FOR_CHECKS, *(VALVE if settings.actuator == PWM_PUMP else ("PUMP",)),
              *(("SPEED",) if receiver else RECEIVER)}
    pulses = {"SPEED": show(row("speed_pulses_km"), settings.speed_pulses_km, machine.us),
              "FLOW": show(row("meter_pulses_hl"), settings.meter_pulses_hl, machine.us)}
    yield f"{machine.title}, on {words}"
    yield "Fuse pulled, engine off; what must never be left out: hardware/wiring.md"
    yield f"{'GPIO':>4}  {'name':14}{'held':6}leads to"
    for name, _, held, meaning in WIRES:
        if name in unused or not hasattr(pins, name):
            continue
        more = f"; {pulses[name]}" if name in pulses else ""
        yield f"{getattr(pins, name):>4}  {name:14}{held or '-':6}{meaning}{more}"
    for index, width_mm in enumerate(settings.widths_mm()):
        letter = LETTERS[index]
        yield (f"section {index + 1}: {show(row('section_width_mm'), width_mm, machine.us)} wide; "
               f"valve at Q{letter} of the 74HC595, switch at {letter} of the 74HC165")
    left = [name for name, *_ in WIRES if name in unused and hasattr(pins, name)]
    yield f"not used by this machine: {', '.join(left)}"
