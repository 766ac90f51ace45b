"""The plant lives through a recorded episode once more: the same pins, the same supply."""

from __future__ import annotations

import numpy as np

from host_sim.fit.episode import Episode
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.spec import MachineSpec
from host_sim.runs.record import Column


def replayed(spec: MachineSpec, episode: Episode, follows_supply: bool = False) -> Column:
    """The pulses that a machine would have given in each reading of the episode; not whole ones."""
    turned, rate = _live(spec, episode, follows_supply)
    time_s = episode.time_us.astype(np.float64) * 1e-6
    return (_at(episode.end_s, time_s, turned, rate)
            - _at(episode.begin_s, time_s, turned, rate))


def _live(spec: MachineSpec, episode: Episode, follows_supply: bool) -> tuple[Column, Column]:
    """Pulses so far and pulses a second at each tick.

    The supply is what the board measured at the beginning of the tick. The board sees it sag
    under the pump's current, which the machine's own resistance gives back.
    """
    machine = Machine(spec)
    machine.faults.valve_follows_supply = follows_supply
    meter, supply, faults = machine.flow_meter, spec.supply, machine.faults
    base_v = supply.resistance_ohm * supply.base_current_a
    k = spec.meter.pulses_per_m3
    turned: Column = np.zeros(len(episode))
    rate: Column = np.zeros(len(episode))
    pins = zip(episode.time_us[1:].tolist(), episode.duty.tolist(), episode.pulse_ms.tolist(),
               episode.mask.tolist(), episode.supply_v.tolist(), strict=False)
    for row, (end_us, duty, pulse_ms, mask, supply_v) in enumerate(pins, start=1):
        if supply_v > 0.0:
            faults.supply_drop_v = supply.open_v - supply_v - machine.sag_v - base_v
        machine.advance(end_us, Actuation(duty, pulse_ms, mask), 0.0)
        turned[row] = meter.count + meter.phase
        rate[row] = meter.rotor_m3_s * k
    return turned, rate


def _at(moments: Column, time_s: Column, turned: Column, rate: Column) -> Column:
    """Pulses so far at moments between the ticks: cubic, with the rotor's own speed at both ends.
    """
    row = np.clip(np.searchsorted(time_s, moments, side="right") - 1, 0, len(time_s) - 2)
    span = time_s[row + 1] - time_s[row]
    u = np.clip((moments - time_s[row]) / span, 0.0, 1.0)
    result: Column = (
        (1 + 2 * u) * (1 - u) ** 2 * turned[row] + u * (1 - u) ** 2 * span * rate[row]
        + u * u * (3 - 2 * u) * turned[row + 1] - u * u * (1 - u) * span * rate[row + 1])
    return result
