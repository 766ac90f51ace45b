"""The search over all states holds on the firmware and fails on every known-bad change of it."""

from __future__ import annotations

from typing import Any

import pytest

from host_sim.trials.trust.permit_stage import FILLED, FIXED, REMEMBERED, PermitStage
from host_sim.trials.trust.states import HEADLAND, PLAIN_BENCH, SHORT, STORE, explore, told
from rate_control import controller as controller_module
from rate_control import interlock as interlock_module
from rate_control import last_gate
from rate_control.controller import Controller
from rate_control.debounce import Debounce
from rate_control.faults import Faults
from rate_control.interlock import (
    APPLYING,
    BENCH,
    FAULT,
    MASTER,
    PARKED,
    PRIME,
    PRIMING,
    READY,
    SECTION,
    SET_UP,
    SPEED,
    Interlock,
)
from rate_control.records import Request
from rate_control.settings import Settings


@pytest.mark.parametrize("world", SHORT, ids=[world.name for world in SHORT])
def test_no_path_leads_to_an_output_without_a_fresh_off_then_on(world: Any) -> None:
    found = explore(world)
    assert not found.wrong, told(found)
    assert found.with_outputs > 0
    assert found.reached >= {PARKED, READY, APPLYING, FAULT}
    assert (BENCH in found.reached) == (1 in world.bench)
    assert (PRIMING in found.reached) == (1 in world.prime)


@pytest.mark.parametrize(("left_out", "told"), [
    (SPEED, "without moving"), (SET_UP, ""), (PRIME, "that nobody asks for"),
    (SECTION, "with no section on")])
def test_priming_without_one_of_its_permits_is_found(
        monkeypatch: pytest.MonkeyPatch, left_out: int, told: str) -> None:
    rows = tuple((*row[:1], row[1] & ~left_out, *row[2:]) if row[3] == PRIMING else row
                 for row in interlock_module.TABLE)
    monkeypatch.setattr(interlock_module, "TABLE", rows)
    world = HEADLAND._replace(settings=(Request.NOT_SET_UP,)) if left_out == SET_UP else HEADLAND
    wrong = explore(world).wrong
    assert wrong and told in wrong


def test_nothing_that_the_objects_keep_is_forgotten() -> None:
    controller: Any = Controller(Settings())
    objects = {"controller": controller, "interlock": controller.interlock,
               "debounce": controller._debounce, "faults": controller._faults,
               "request": controller.request, "decided": controller.decided}
    for name, thing in objects.items():
        listed = [*REMEMBERED[name], *FIXED[name], *FILLED[name]]
        assert sorted(listed) == sorted(vars(thing)), name


def test_every_remembered_attribute_is_in_the_memory_and_comes_back() -> None:
    stage = PermitStage(PLAIN_BENCH)
    start = stage.start(Request.TAKEN_ON)
    controller: Any = stage.controller
    objects = {"controller": controller, "interlock": controller.interlock,
               "debounce": controller._debounce, "faults": controller._faults,
               "request": controller.request, "decided": controller.decided}
    for name, attributes in REMEMBERED.items():
        for attribute in attributes:
            value = getattr(objects[name], attribute)
            if isinstance(value, (list, dict)):
                value[1 if isinstance(value, dict) else 0] += 7
            else:
                setattr(objects[name], attribute, 7)
            assert stage.memory() != start, (name, attribute)
            stage.restore(start)
            assert stage.memory() == start, (name, attribute)


def believes_its_first_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    update = Debounce.update

    def eager(self: Any, raw: int) -> int:
        if not hasattr(self, "begun"):
            self.begun = 1
            self.stable = raw
        return int(update(self, raw))

    monkeypatch.setattr(Debounce, "update", eager)
    # the proof by the interlock alone would hide it: the lock opens as the debouncer says
    monkeypatch.setattr(Interlock, "_watch_master", lambda self, permits, level: setattr(
        self, "locked", int(bool(permits & MASTER) and self.locked)))


def forgets_the_lock_of_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    table = [(*row[:4], 0) if row[3] == FAULT else row for row in interlock_module.TABLE]
    monkeypatch.setattr(interlock_module, "TABLE", tuple(table))


def forgets_late_ticks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(controller_module, "TICK_LATE_US", 1 << 29)


def applies_without_a_lock(monkeypatch: pytest.MonkeyPatch) -> None:
    apply = Controller.apply

    def careless(self: Any, settings: Any) -> bool:
        locked = self.interlock.locked
        taken = bool(apply(self, settings))
        self.interlock.locked = locked
        return taken

    monkeypatch.setattr(Controller, "apply", careless)


def has_no_last_gate(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(last_gate, "gate",
                        lambda loop, decided, outputs: loop.drive(decided, outputs))


def skips_a_lock_by_its_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    update = Interlock.update

    def remembering(self: Any, permits: int, level: int) -> int:
        state = self.state
        if state in (APPLYING, BENCH) and permits & MASTER:
            self._permits, self._state = permits | interlock_module.ARMED, state
        return int(update(self, permits, level))

    monkeypatch.setattr(Interlock, "update", remembering)


def proves_off_by_one_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    update = Interlock.update

    def hasty(self: Any, permits: int, level: int) -> int:
        self.off_ticks = 0
        return int(update(self, permits, level))

    monkeypatch.setattr(Interlock, "update", hasty)


def clears_faults_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    update = Faults.update
    monkeypatch.setattr(Faults, "update",
                        lambda self, conditions, on, level: update(self, conditions, 0, 0))
    monkeypatch.setattr(interlock_module, "TABLE", tuple(
        row for row in interlock_module.TABLE if row[0] != FAULT))


MUTANTS = (believes_its_first_sample, forgets_the_lock_of_a_fault, forgets_late_ticks,
           applies_without_a_lock, has_no_last_gate, skips_a_lock_by_its_memory,
           proves_off_by_one_sample, clears_faults_by_itself)


@pytest.mark.parametrize("mutant", MUTANTS)
def test_a_known_bad_change_is_found(mutant: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    mutant(monkeypatch)
    found = explore(PLAIN_BENCH)
    assert found.wrong
    assert found.path[0].startswith("power-up")


def test_a_late_tick_is_looked_at_in_every_state_of_the_settings_and_of_the_store(
        monkeypatch: pytest.MonkeyPatch) -> None:
    collect = controller_module.collect
    unset, saving = (True, 0), (False, 1)

    def lenient(measured: Any, active: int, tick_ok: bool, bench: int, request: Any) -> int:
        permits = collect(measured, active, tick_ok, bench, request)
        met = request.settings_state == Request.NOT_SET_UP, request.saving
        if not tick_ok and met == forgiven:
            permits |= interlock_module.TICK | interlock_module.NO_FAULT
        return int(permits)

    monkeypatch.setattr(controller_module, "collect", lenient)
    for forgiven in (unset, saving):
        found = explore(STORE)
        assert found.wrong and "the tick is late" in found.path[-1]
        assert ("not set up" in found.path[0]) == (forgiven == unset)
        assert ("the store is written" in found.path[-1]) == (forgiven == saving)


def test_the_path_to_a_broken_promise_is_told_tick_by_tick(
        monkeypatch: pytest.MonkeyPatch) -> None:
    has_no_last_gate(monkeypatch)
    lines = told(explore(PLAIN_BENCH)).splitlines()
    assert lines[0].endswith("outputs are on in a state where nothing may move:")
    assert lines[1] == "  power-up with settings taken on"
    assert lines[2].startswith("  1: master ")
    assert lines[2].endswith("-> parked, outputs on")
