"""The drive of a machine file for which there is no scenario: what `[wanted]` asks of it.

A pass for each wanted rate, at the slowest, the middle and the fastest wanted speed, with the
implement up in the headland between two passes. With a recorded speed trace it is that trace
instead, with the implement down from its beginning.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.machine_file.pressure_file import pressure_bytes
from host_sim.machine_file.twin_spec import spec_of
from host_sim.sizing.fields import FIELDS
from host_sim.twin.disturbances import CALM
from host_sim.twin.hands import Event
from host_sim.twin.scenario import DEMO, Scenario, load_scenario
from host_sim.twin.scenario_events import ML_HA_PER_M, SWITCH_WORDS, rate_words
from host_sim.twin.speed_samples import SPEED_MAX_M_S
from host_sim.twin.speed_trace import SpeedTrace, read_speed_trace
from rate_control.settings import HIGH, LOW, row
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

STAND_S = 3.0  # the master comes on meanwhile
CHANGE_S = 5.0  # from one speed to the next
HOLD_S = 20.0  # at each speed
TURN_S = 8.0  # in a headland


def scenario_for(path: Path | None, speed_trace: Path | None = None, seed: int | None = None,
                 machine_file: Path | None = None, field: str | None = None) -> Scenario:
    """What the options of a verb mean: a scenario, a machine file alone, or the demonstration.

    Raises InputError with a line for everything that is wrong.
    """
    if path is None and machine_file:
        made = plain_drive(load_machine(machine_file), speed_trace, 1 if seed is None else seed)
        return replace(made, field=field or CALM)
    return load_scenario(path or DEMO, speed_trace, seed, machine_file, field)


def plain_drive(machine: MachineFile, speed_trace: Path | None = None, seed: int = 1) -> Scenario:
    """The scenario of a machine file alone."""
    spec = spec_of(machine)
    if speed_trace:
        trace, events = read_speed_trace(speed_trace), [
            _switched("master", "on", 1.0), _switched("implement", "down", 2.0)]
    else:
        trace, events = _passes(machine)
    return Scenario(machine.title, spec, machine.settings, trace, seed, events,
                    pressure=pressure_bytes(machine))


def _wanted(machine: MachineFile, name: str) -> list[Any]:
    """What `[wanted]` says of a rate or a speed, in SI."""
    said = machine.fields.get(name)
    known = next(field for field in FIELDS if field.name == name)
    if said is None:
        raise InputError(f"{machine.path}: {known.table}.{known.key}: is missing, and so is a "
                         f"scenario: the drive is made of it; for example \"{known.example}\"")
    return [known.read(text, said.us) for text in said.texts]


def _speeds(machine: MachineFile) -> list[float]:
    """The slowest, the middle and the fastest wanted speed; one where all are the same."""
    (low, high), = _wanted(machine, "speed")
    if high > SPEED_MAX_M_S:
        said = machine.fields["speed"]
        bare = not any(letter.isalpha() for letter in said.texts[0].replace("to", ""))
        most = units.text("speed_mm_s", SPEED_MAX_M_S, said.us if bare else "mph" in said.texts[0])
        raise InputError(f"{said.place}: must be at most {most}, is {said.texts[0]}")
    return [low, (low + high) / 2, high] if high > low else [low]


def _rates(machine: MachineFile) -> list[float]:
    """Wanted rates that the controller takes, as depths in metres."""
    entry = row("rate_ml_ha")
    rates = _wanted(machine, "rate")
    for rate in rates:
        if not entry[LOW] <= round(rate * ML_HA_PER_M) <= min(
                entry[HIGH], machine.settings.highest_rate_ml_ha):
            raise InputError(f"{machine.fields['rate'].place}: the controller would not take "
                             f"this rate: see settings.highest_rate")
    return rates


def _passes(machine: MachineFile) -> tuple[SpeedTrace, list[Event]]:
    speeds = _speeds(machine)
    samples = [(0.0, 0.0), (STAND_S, 0.0)]
    events = [_switched("master", "on", 1.0)]
    for number, rate in enumerate(_rates(machine)):
        _go(samples, speeds[0], TURN_S if number else 0.0)
        now_s = samples[-1][0]
        events += [_rate(rate, now_s - CHANGE_S / 2), _switched("implement", "down", now_s)]
        for speed in speeds:
            _go(samples, speed, HOLD_S)
        events.append(_switched("implement", "up", samples[-1][0]))
    _go(samples, 0.0, STAND_S)
    times, values = zip(*samples, strict=True)
    return SpeedTrace("wanted rates and speeds", times, values,
                      "made of what the machine file wants"), events


def _go(samples: list[tuple[float, float]], speed_m_s: float, hold_s: float) -> None:
    """Go over to a speed and stay there for a while."""
    samples.append((samples[-1][0] + CHANGE_S, speed_m_s))
    if hold_s:
        samples.append((samples[-1][0] + hold_s, speed_m_s))


def _switched(switch: str, level: str, at_s: float) -> Event:
    bit = SWITCH_MASTER if switch == "master" else SWITCH_IMPLEMENT
    closed = level in ("on", "down")
    return Event(SWITCH_WORDS[switch, level], at_s=at_s, on=bit if closed else 0,
                 off=0 if closed else bit)


def _rate(depth_m: float, at_s: float) -> Event:
    return Event(rate_words(depth_m), at_s=at_s, rate_ml_ha=round(depth_m * ML_HA_PER_M))
