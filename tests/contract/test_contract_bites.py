"""The contract itself: a board that breaks a promise fails, a bare bench is skipped."""

import pytest

from rate_control.records import Outputs
from tests.contract.bench import Bench
from tests.contract.contract import CHECKS, FAIL, PASS, SKIP, run_all, run_check
from tests.contract.fake_bench import FakeBench
from tests.fakes.chip import Chip
from tests.fakes.modules import Installed

BY_NAME = dict(CHECKS)


class SilentBoard:
    """Nothing arrives and nothing goes out."""

    def now_us(self):
        return 0

    def read(self, inputs):
        pass

    def write(self, outputs):
        pass

    def make_safe(self):
        pass

    def release(self):
        pass

    def start_tick(self, callback, period_us):
        pass

    def reset_cause(self):
        return "power"


class BareBench(Bench):
    """Time passes, and that is all."""

    def wait_us(self, us):
        pass


def test_missing_wiring_is_skipped_and_never_passes():
    bench = BareBench(SilentBoard())
    needs_wires = set(BY_NAME) - {"clock", "reset cause"}
    outcomes = [run_check(BY_NAME[name], bench) for name in needs_wires]
    assert {outcome for outcome, _ in outcomes} == {SKIP}
    assert all(reason for _, reason in outcomes)


def test_a_clock_that_stands_still_fails():
    assert run_check(BY_NAME["clock"], BareBench(SilentBoard()))[0] == FAIL


def broken(method, replacement):
    """Run the whole contract on the fake RP2040 with one method of its board replaced."""
    chip = Chip()
    with Installed(chip):
        from boards import rp2_pins
        from boards.rp2_board import Rp2Board

        class Broken(Rp2Board):
            pass

        setattr(Broken, method, replacement(getattr(Rp2Board, method)))
        return {name: run_check(check, FakeBench(chip, rp2_pins, Broken)) for name, check in CHECKS}


def lose_every_hundredth(read):
    def lossy(self, inputs):
        read(self, inputs)
        inputs.flow_count -= inputs.flow_count // 100

    return lossy


def swap_valve(write):
    def swapped(self, outputs):
        other = Outputs()
        other.duty_u16, other.section_mask = outputs.duty_u16, outputs.section_mask
        other.valve_pulse_ms = -outputs.valve_pulse_ms
        write(self, other)

    return swapped


def late_edges(read):
    def late(self, inputs):
        read(self, inputs)
        inputs.speed_edge_us = self.now_us()

    return late


def forget_sections(make_safe):
    def half_safe(self):
        self._pump.duty_u16(0)

    return half_safe


def stuck_master(read):
    def stuck(self, inputs):
        read(self, inputs)
        inputs.switches |= 1

    return stuck


@pytest.mark.parametrize(
    ("method", "replacement", "caught_by"),
    [
        ("read", lose_every_hundredth, "pulses lost"),
        ("read", late_edges, "edge times"),
        ("read", stuck_master, "switches"),
        ("write", swap_valve, "valve pulse"),
        ("make_safe", forget_sections, "make safe"),
        ("make_safe", forget_sections, "make safe in the tick"),
        ("reset_cause", lambda _: lambda self: "power", "watchdog"),
        ("now_us", lambda now: lambda self: now(self) // 2, "clock"),
    ],
)
def test_a_broken_promise_is_caught(method, replacement, caught_by):
    assert broken(method, replacement)[caught_by][0] == FAIL


def test_every_output_written_into_the_air_is_caught():
    results = broken("write", lambda _: lambda self, outputs: None)
    for name in ("pump duty", "valve pulse", "sections", "make safe"):
        assert results[name][0] == FAIL, name


def test_report_tells_a_line_a_check_and_counts_failures():
    chip, lines = Chip(), []
    with Installed(chip):
        from boards import rp2_pins
        from boards.rp2_board import Rp2Board

        failed = run_all(FakeBench(chip, rp2_pins, Rp2Board), lines.append)
    assert failed == 0
    assert [line.split()[0] for line in lines].count(PASS) == len(CHECKS) - 1
    assert [line for line in lines if line.startswith(SKIP)] == [
        "SKIP tick heap: a fake allocates where the chip does not"
    ]
