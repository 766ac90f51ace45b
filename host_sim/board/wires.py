"""What has to be wired for a machine file: the pins that this machine uses, and no others."""

from __future__ import annotations

from collections.abc import Iterator

from app.gnss import CAN_GNSS
from host_sim.common.errors import InputError
from host_sim.hardware import boards
from host_sim.hardware.pin_rules import tables
from host_sim.hardware.signals import SIGNALS
from host_sim.machine_file.homes import FITTED
from host_sim.machine_file.machine import MachineFile
from host_sim.machine_file.values import show
from rate_control.settings import Settings, row
from rate_control.units import BY_GNSS, PWM_PUMP

LETTERS = "ABCDEFGH"  # of the inputs and outputs of a shift register
VALVE = ("VALVE_OPEN", "VALVE_CLOSE")
RECEIVER = ("GNSS_RX",)
BUS = ("CAN_SELECT",)
PRESSURE = ("PRESSURE",)
FOR_CHECKS = ("TEST",)
CARD = ("CARD_SELECT",)  # for a record that a machine works without


def board_of(machine: MachineFile) -> str:
    """The board that fitted.board names; that of the Pico shape where it names none."""
    words = str(machine.source.data.get(FITTED, {}).get("board", "")).lower()
    return next((name for name in boards.names() if name in words), boards.names()[0])


def wants_sentences(settings: Settings) -> bool:
    """Whether a serial receiver is asked for anything: what a CAN bus tells it is not."""
    speed = settings.speed_source and not settings.can_use
    return bool(speed or settings.position_use and settings.can_use != CAN_GNSS)


def wire_lines(machine: MachineFile, board: str) -> Iterator[str]:
    """The list, a line for each pin in the order of hardware/wiring.md, then the sections.

    Raises InputError where the board has no pin for what is fitted.
    """
    settings, title, gpio = machine.settings, boards.board(board).title, tables()[board].gpio
    idle = {*FOR_CHECKS, *CARD, *(VALVE if settings.actuator == PWM_PUMP else ("PUMP",)),
            *(("SPEED",) if settings.speed_source == BY_GNSS else ())}
    asks = "fitted.speed_source" if settings.speed_source else "settings.position_use"
    for wanted, names, key, what in (
        (wants_sentences(settings), RECEIVER, asks, "pins for a GNSS receiver"),
        (settings.can_use, BUS, "settings.can_use", "pin for a CAN controller"),
        (machine.pressure, PRESSURE, "pressure", "pin for a pressure sensor"),
    ):
        if not wanted:
            idle.update(names)
        elif names[0] not in gpio:
            raise InputError(f"{machine.path}: {key}: no {what} on {title}")
    pulses = {"SPEED": show(row("speed_pulses_km"), settings.speed_pulses_km, machine.us),
              "FLOW": show(row("meter_pulses_hl"), settings.meter_pulses_hl, machine.us)}
    yield f"{machine.title}, on {title}"
    yield "Fuse pulled, engine off; what must never be left out: hardware/wiring.md"
    yield f"{'GPIO':>4}  {'name':14}{'held':6}leads to"
    for signal in SIGNALS:
        if signal.name in idle or signal.name not in gpio:
            continue
        more = f"; {pulses[signal.name]}" if signal.name in pulses else ""
        yield (f"{gpio[signal.name]:>4}  {signal.name:14}{signal.pull or '-':6}"
               f"{signal.leads_to}{more}")
    for index, width_mm in enumerate(settings.widths_mm()):
        letter = LETTERS[index]
        yield (f"section {index + 1}: {show(row('section_width_mm'), width_mm, machine.us)} wide; "
               f"valve at Q{letter} of the 74HCT595, switch at {letter} of the 74HC165")
    left = [signal.name for signal in SIGNALS if signal.name in idle and signal.name in gpio]
    yield f"not used by this machine: {', '.join(left)}"
