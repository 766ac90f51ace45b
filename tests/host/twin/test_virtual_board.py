"""The virtual board keeps the promises of boards/board.py."""

from __future__ import annotations

import inspect

import pytest

from boards.board import Board
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.machine import Machine
from host_sim.twin.clock import START_US, WRAP_US, VirtualClock
from host_sim.twin.virtual_board import COUNT_START, WATCHDOG_US, VirtualBoard
from rate_control.intmath import LIMIT, ticks_diff
from rate_control.records import Inputs, Outputs
from rate_control.units import DUTY_FULL, TICK_US


class Rig:
    """A board with a program that writes full outputs in every tick while `feeding`."""

    def __init__(self, period_us: int = TICK_US) -> None:
        self.clock = VirtualClock()
        self.machine = Machine(machine_spec("electric_m"), 1, self.clock.total_us)
        self.boots: list[tuple[str, float, int]] = []  # cause, and the outputs found at boot
        self.tick_times: list[int] = []
        self.feeding = True
        self.period_us = period_us
        self.outputs = Outputs()
        self.outputs.duty_u16, self.outputs.section_mask = DUTY_FULL, 7
        self.board = VirtualBoard(self.clock, self.machine, self.boot)

    def boot(self, board: VirtualBoard) -> None:
        found = board.actuation
        self.boots.append((board.reset_cause(), found.duty, found.section_mask))
        board.start_tick(self.tick, self.period_us)

    def tick(self, argument: int) -> None:
        assert argument == 0
        self.tick_times.append(self.clock.elapsed_us)
        self.board.write(self.outputs)
        if self.feeding:
            self.board.feed_watchdog()

    def run(self, ticks: int, speed_m_s: float = 3.0) -> None:
        for _ in range(ticks):
            self.board.advance(TICK_US, speed_m_s)


def test_every_promised_method_is_kept():
    promised = [name for name, _ in inspect.getmembers(Board, inspect.isfunction)]
    may_be_inherited = {"retained"}
    missing = [name for name in promised
               if name not in vars(VirtualBoard) and name not in may_be_inherited]
    assert not missing


def test_clock_starts_just_before_the_wrap_and_crosses_it():
    rig = Rig()
    before_us = rig.board.now_us()
    assert before_us == START_US
    assert WRAP_US - before_us <= 10_000_000
    for _ in range(300):
        rig.run(1)
        now_us = rig.board.now_us()
        assert 0 <= now_us <= LIMIT
        assert ticks_diff(now_us, before_us) == TICK_US
        before_us = now_us
    assert now_us < START_US


def test_time_does_not_run_backwards():
    with pytest.raises(ValueError, match="backwards"):
        VirtualClock().advance(-1)


def test_counts_wrap_and_lose_nothing():
    rig = Rig()
    inputs = Inputs()
    rig.board.read(inputs)
    first = inputs.speed_count
    rig.run(200)
    rig.board.read(inputs)
    assert 0 <= inputs.speed_count < first, "the counter has not wrapped"
    assert (inputs.speed_count - first) & LIMIT == rig.machine.speed_sensor.count
    assert (inputs.flow_count - COUNT_START) & LIMIT == rig.machine.flow_meter.count > 0


def test_edge_times_lie_in_the_last_period():
    rig = Rig()
    inputs = Inputs()
    for _ in range(300):
        rig.run(1)
        rig.board.read(inputs)
        age_us = ticks_diff(rig.board.now_us(), inputs.speed_edge_us)
        assert 0 <= age_us < TICK_US


def test_levels_are_passed_on_raw():
    rig = Rig()
    inputs = Inputs()
    for levels in (0, 0b101, 0b11111, 0b100):
        rig.board.switches = levels
        rig.board.read(inputs)
        assert inputs.switches == levels


def test_outputs_are_off_at_power_up_before_the_program():
    assert Rig().boots == [("power", 0.0, 0)]


def test_outputs_drive_the_machine_until_the_next_write():
    rig = Rig()
    rig.run(40)
    assert sum(rig.machine.section_volume_ml) > 0
    assert rig.board.actuation.duty == 1.0


def test_make_safe_switches_everything_off():
    rig = Rig()
    rig.run(10)
    rig.board.actuation.valve_pulse_ms = 30
    rig.board.make_safe()
    actuation = rig.board.actuation
    assert (actuation.duty, actuation.section_mask, actuation.valve_pulse_ms) == (0.0, 0, 0)


def test_a_valve_pulse_ends_itself():
    rig = Rig()
    rig.outputs.valve_pulse_ms = 30
    seen = []
    live = rig.machine.advance
    rig.machine.advance = lambda now_us, actuation, speed: (  # type: ignore[method-assign]
        seen.append(actuation.valve_pulse_ms), live(now_us, actuation, speed))
    rig.run(1)
    rig.board.stalled = True
    rig.run(3)
    assert seen == [0, 30, 0, 0]


@pytest.mark.parametrize("ticks_a_period", [1, 2, 4])
def test_ticks_come_on_time(ticks_a_period):
    rig = Rig(ticks_a_period * TICK_US)
    rig.run(20)
    period_us = ticks_a_period * TICK_US
    assert rig.tick_times == list(range(period_us, 20 * TICK_US + 1, period_us))


def test_a_fed_watchdog_never_bites():
    rig = Rig()
    rig.run(1000)
    assert len(rig.boots) == 1


def test_a_watchdog_never_fed_does_not_run():
    rig = Rig()
    rig.feeding = False
    rig.run(100)
    assert len(rig.boots) == 1


def test_an_unfed_watchdog_bites_and_the_outputs_drop():
    rig = Rig()
    rig.run(10)
    rig.feeding = False
    rig.run(WATCHDOG_US // TICK_US)
    assert len(rig.boots) == 1
    rig.run(1)
    assert rig.boots[1:] == [("watchdog", 0.0, 0)]


def test_a_stalled_program_gets_no_tick_and_is_reset():
    rig = Rig()
    rig.run(10)
    rig.board.stalled = True
    rig.run(WATCHDOG_US // TICK_US + 1)
    assert len(rig.tick_times) == 10
    assert rig.boots[-1][0] == "watchdog"
    rig.run(5)
    assert len(rig.tick_times) == 15, "the program runs again after the reset"


def test_a_released_board_stays_off():
    rig = Rig()
    rig.run(10)
    rig.board.release()
    rig.run(20)
    assert len(rig.tick_times) == 10
    assert rig.board.actuation.duty == 0.0
    assert len(rig.boots) == 1


def test_files_keep_their_content_over_a_reset():
    rig = Rig()
    rig.board.files().write("slot", b"abc")
    rig.board.files().append("slot", b"d")
    rig.run(1)
    rig.feeding = False
    rig.run(10)
    assert len(rig.boots) > 1
    assert rig.board.files().read("slot") == b"abcd"
    assert rig.board.files().read("none") == b""
