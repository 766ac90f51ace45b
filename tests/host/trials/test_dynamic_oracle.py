"""The dynamic oracle: its model stays in step with the machine, and its steps are the best ones."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from host_sim.plant.actuation import Actuation
from host_sim.plant.catalogue import KINDS
from host_sim.plant.machine import Machine
from host_sim.plant.spec import BYPASS_VALVE
from host_sim.trials.acceptance.dynamic_oracle import HORIZON, best_steps, wrong_ml
from host_sim.trials.acceptance.foresight import Foresight
from rate_control.units import TICK_US


def live(machine: Machine, pins: Actuation) -> list[float]:
    """A tick of the machine: what each section lets out, mL."""
    before = machine.section_volume_ml
    machine.advance(machine.time_us + TICK_US, pins, 0.0)
    return [now - then for now, then in zip(machine.section_volume_ml, before, strict=True)]


@pytest.mark.parametrize("kind", KINDS)
def test_foresight_stays_in_step_with_the_machine(kind: str) -> None:
    machine = Machine(KINDS[kind]())
    foresight = Foresight(machine)
    rng = Random(1)
    towards_flow = -1 if machine.spec.actuator == BYPASS_VALVE else 1
    duty, pulse_ms, mask = 0.5, 50 * towards_flow, 1
    for tick in range(200):
        if tick >= 40 and tick % 20 == 0:
            duty, pulse_ms = rng.random(), rng.randint(-50, 50)
            mask = rng.randrange(1 << machine.spec.sections.count)
        pins = (Actuation(duty, 0, mask) if machine.spec.valve is None
                else Actuation(0.0, pulse_ms, mask))
        foresight.see_supply(machine.supply_mv)
        foreseen = foresight.branch().advance(pins)
        assert foreseen == pytest.approx(live(machine, pins), rel=2e-3, abs=1e-3), tick
        assert foresight.advance(pins) == foreseen  # the branch has changed nothing
    assert sum(machine.section_volume_ml) > 100.0
    if machine.spec.valve is not None:
        assert foresight.valve_position == machine.valve_position


def test_steps_are_dead_beat_on_a_machine_of_first_order() -> None:
    """y' = a y + (1 - a) u reaches 1 in one tick with u = 1 / (1 - a), then u = 1 keeps it."""
    keeps = 0.6
    answer = (1 - keeps) * keeps ** np.arange(HORIZON)
    missing = keeps ** (np.arange(HORIZON) + 1)  # of 1, if u = 1 from the first tick on
    free = best_steps(answer, missing, -10.0, 10.0)
    assert 1.0 + free[0] == pytest.approx(1 / (1 - keeps), rel=0.01)
    assert free[1:] == pytest.approx(0.0, abs=0.01)
    held = best_steps(answer, missing, -1.0, 0.5)
    assert held[0] == pytest.approx(0.5, abs=1e-3) and (held <= 0.5 + 1e-6).all()


def test_what_is_wrong_at_the_end_counts_for_longer() -> None:
    wanted = np.ones(HORIZON)
    early, late = wanted.copy(), wanted.copy()
    early[0], late[-1] = 0.5, 1.5
    assert wrong_ml(late, wanted) > wrong_ml(early, wanted) == pytest.approx(0.5)
