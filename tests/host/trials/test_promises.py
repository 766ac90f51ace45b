"""The watch over the promises bites: what breaks one is seen, what keeps all is not."""

from __future__ import annotations

import pytest

from host_sim.trials.trust.promises import Promises
from rate_control.controller import Controller
from rate_control.faults import TICK_LATE
from rate_control.interlock import APPLYING, BENCH, PARKED
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Outputs
from rate_control.settings import build
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT, TICK_MS

SECTION = 1 << SWITCH_SECTION_SHIFT
ALL = SWITCH_MASTER | SWITCH_IMPLEMENT | SECTION


class Tape:
    """Plays ticks to the promises as a board would."""

    def __init__(self) -> None:
        settings, problems = build({"switch_debounce_ms": 100})
        assert settings is not None, problems
        self.promises = Promises(settings)
        self.controller = Controller(settings)
        self.inputs = Inputs()
        self.outputs = Outputs()

    def tick(self, switches: int, on: bool = False, state: int = PARKED, faults: int = 0,
             pulses: int = 14, feed: bool = True) -> None:
        self.inputs.switches = switches
        self.inputs.speed_count += pulses
        self.promises.read(self.inputs)
        decided = self.controller.decided
        decided.state, decided.faults = state, faults
        self.outputs.duty_u16 = 1000 if on else 0
        self.outputs.section_mask = 1 if on else 0
        self.promises.write(self.outputs, self.controller)
        if feed:
            self.promises.fed()

    def arm(self) -> Tape:
        for switches in [ALL & ~SWITCH_MASTER] * 4 + [ALL] * 4:
            self.tick(switches)
        return self

    @property
    def broken(self) -> str:
        return " ".join(self.promises.broken)


def test_work_as_it_should_be_breaks_nothing() -> None:
    tape = Tape().arm()
    for _ in range(50):
        tape.tick(ALL, on=True, state=APPLYING)
    assert tape.broken == ""


def test_outputs_need_the_master_seen_off_then_on() -> None:
    tape = Tape()
    for _ in range(10):
        tape.tick(ALL)
    tape.tick(ALL, on=True, state=APPLYING)
    assert "without master off, then on" in tape.broken


def test_one_sample_of_off_does_not_arm() -> None:
    tape = Tape()
    for switches in [ALL] * 4 + [ALL & ~SWITCH_MASTER] * 2 + [ALL] * 10:
        tape.tick(switches)
    tape.tick(ALL, on=True, state=APPLYING)
    assert "without master off, then on" in tape.broken


def test_a_reset_forgets() -> None:
    tape = Tape().arm()
    tape.promises.begin()
    tape.tick(ALL, on=True, state=APPLYING)
    assert "without master off, then on" in tape.broken


def test_a_fault_that_stops_wants_off_then_on_again() -> None:
    tape = Tape().arm()
    tape.tick(ALL, faults=TICK_LATE)
    assert tape.broken == ""
    tape.tick(ALL, on=True, state=APPLYING)
    assert "without master off, then on" in tape.broken


@pytest.mark.parametrize(("switches", "state", "words"), [
    (ALL & ~SWITCH_MASTER, APPLYING, "without master"),
    (ALL & ~SWITCH_IMPLEMENT, APPLYING, "implement up"),
    (ALL & ~SECTION, APPLYING, "section 1 on"),
    (ALL, PARKED, "in state"),
])
def test_each_permit_is_watched(switches: int, state: int, words: str) -> None:
    tape = Tape().arm()
    for _ in range(5):
        tape.tick(switches, on=True, state=state)
    assert words in tape.broken


def test_work_needs_motion_and_the_bench_none() -> None:
    still, moving = Tape().arm(), Tape().arm()
    for _ in range(60):
        still.tick(ALL, on=True, state=APPLYING, pulses=0)
        moving.tick(ALL, on=True, state=BENCH)
    assert "without a sign of motion" in still.broken
    assert "bench in motion" in moving.broken


def test_the_watchdog_is_fed_once_a_whole_step_is_done() -> None:
    tape = Tape()
    tape.tick(ALL)
    assert tape.broken == ""
    tape.promises.fed()
    assert "without a whole step" in tape.broken


def test_flash_and_ranges_are_watched() -> None:
    tape = Tape()
    tape.promises.flash_written(False)
    assert tape.broken == ""
    tape.promises.flash_written(True)
    tape.outputs.valve_pulse_ms = TICK_MS + 1
    tape.controller.measured.flow_ul_s = LIMIT + 1
    tape.tick(ALL)
    for words in ("flash written", "valve pulse", "beyond a small int"):
        assert words in tape.broken
