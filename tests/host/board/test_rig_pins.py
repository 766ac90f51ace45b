"""The bench rig's pins against the controller's: both run their PIO programs, cycle by cycle."""

import random

import pytest
from pioemu import State, clock_cycles_reached, emulate

from bench_rig import rig_pins
from bench_rig.rig import FLOW, SPEED, STEP_US, Drive
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Outputs
from rate_control.units import DUTY_FULL, SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT
from tests.fakes.chip import Chip, Square, Steady
from tests.fakes.modules import Installed
from tests.support.chip_pair import ChipPair

FILTER_US = 2  # what the controller's time of an edge may be off (tests/contract/bench.py)


def rp2_board():
    from boards.rp2_board import Rp2Board

    return Rp2Board()


def rp2_port():
    from bench_rig.rp2_port import Rp2Port

    return Rp2Port()


@pytest.fixture
def pair():
    return ChipPair(rp2_board, rp2_port)


@pytest.fixture
def alone():
    """The rig's port by itself, and its chip."""
    chip = Chip()
    with Installed(chip):
        yield chip, rp2_port()


def seen_by(pair):
    inputs = Inputs()
    pair.board.read(inputs)
    return inputs


def test_every_pulse_arrives_one_step_later_at_its_moment(pair):
    chance = random.Random(1)
    before = seen_by(pair)
    start_us = pair.rig.ns // 1000
    sent = {SPEED: [], FLOW: []}
    for step in range(30):
        for channel, most in ((SPEED, 4), (FLOW, 2)):
            # sparse, then silent, then dense again; never closer than 100 us, as at 10 kHz
            count = 0 if 10 <= step < 15 else chance.randrange(most + 1)
            moments = sorted(chance.sample(range(0, STEP_US, 100), count))
            pair.port.pulses(channel, moments)
            sent[channel] += [start_us + (step + 1) * STEP_US + moment for moment in moments]
        pair.step()
        inputs = seen_by(pair)
        now_us = pair.controller.ns // 1000
        for channel, name in ((SPEED, "speed"), (FLOW, "flow")):
            arrived = [moment for moment in sent[channel] if moment + 10 < now_us]
            count = getattr(inputs, f"{name}_count") - getattr(before, f"{name}_count") & LIMIT
            assert len(arrived) <= count <= len(arrived) + 1
            if arrived and count == len(arrived):
                late_us = getattr(inputs, f"{name}_edge_us") - arrived[-1] & LIMIT
                assert late_us <= FILTER_US or LIMIT - late_us < FILTER_US


def test_a_second_run_begins_with_what_is_sent_in_it(pair):
    """What was on its way when the rig came to rest is not sent later."""
    pair.port.pulses(SPEED, [100, 5000])
    pair.port.rest()
    before = seen_by(pair).speed_count
    for _ in range(5):
        pair.step()
    assert seen_by(pair).speed_count == before
    pair.port.pulses(SPEED, [100])
    for _ in range(3):
        pair.step()
    assert seen_by(pair).speed_count - before & LIMIT == 1


@pytest.mark.parametrize("share", [0.0, 0.05, 0.37, 0.95, 1.0])
def test_duty_is_read_to_a_tenth_of_a_percent(pair, share):
    drive, outputs = Drive(), Outputs()
    outputs.duty_u16 = int(share * DUTY_FULL)
    pair.board.write(outputs)
    for _ in range(5):
        pair.step()
        pair.port.read(drive)
    assert drive.duty == pytest.approx(share, abs=1e-3)


def test_a_slow_pwm_is_read_too(alone):
    """100 Hz, as for a hydraulic valve: its period is as long as a step."""
    chip, port = alone
    drive = Drive()
    chip.connect(rig_pins.PUMP, Square(chip.ns, 10_000_000, 3_300_000))
    for _ in range(6):
        chip.advance(STEP_US)
        port.read(drive)
    assert drive.duty == pytest.approx(0.33, abs=1e-3)
    chip.connect(rig_pins.PUMP, Steady(0))
    for _ in range(4):
        chip.advance(STEP_US)
        port.read(drive)
    assert drive.duty == 0.0


def test_each_section_goes_to_its_own_bit_and_off_shuts_them_all(pair):
    drive, outputs = Drive(), Outputs()
    for mask in [1 << bit for bit in range(8)] + [0, 0xFF, 0xA5]:
        outputs.section_mask = mask
        seen_by(pair)  # a tick reads before it writes
        pair.board.write(outputs)
        pair.step()
        pair.port.read(drive)
        assert drive.section_mask == mask
        seen_by(pair)  # the latch of the next tick, before anything new was shifted in
        pair.port.read(drive)
        assert drive.section_mask == mask
    pair.board.make_safe()
    pair.step()
    pair.port.read(drive)
    assert drive.section_mask == 0


def test_each_contact_is_seen_in_its_own_bit(pair):
    outputs = Outputs()
    for closed in (0, SWITCH_MASTER, SWITCH_IMPLEMENT,
                   *(1 << SWITCH_SECTION_SHIFT + bit for bit in range(8)), 0b1010010110):
        pair.port.switches(closed)
        pair.step()
        inputs = seen_by(pair)
        pair.board.write(outputs)
        assert inputs.switches == closed
    pair.port.switches(0x3FF)
    pair.port.rest()
    pair.step()
    assert seen_by(pair).switches == 0


def test_the_supply_is_what_the_rig_says(pair):
    for volts in (9.0, 12.6, 14.4):
        pair.port.supply(volts)
        pair.step()
        assert seen_by(pair).supply_mv == pytest.approx(1e3 * volts, abs=30)


@pytest.mark.parametrize(("pin", "direction"), [(rig_pins.VALVE_OPEN, 1),
                                                (rig_pins.VALVE_CLOSE, -1)])
def test_a_valve_pulse_is_timed_over_steps(alone, pin, direction):
    chip, port = alone
    for number in (rig_pins.VALVE_OPEN, rig_pins.VALVE_CLOSE):
        chip.drive(number, 0)
    drive = Drive()
    port.read(drive)
    assert (drive.valve_us, drive.valve_direction, drive.valve_goes_on) == (0, 0, 0)
    seen = []
    for before_us, level, after_us in ((4000, 1, 6000), (7000, 0, 3000), (5000, 0, 5000)):
        chip.advance(before_us)
        chip.drive(pin, level)
        chip.advance(after_us)
        port.read(drive)
        seen.append((drive.valve_us, drive.valve_direction, drive.valve_goes_on))
    assert seen == [(6000, direction, 1), (7000, direction, 0), (0, 0, 0)]


def on_emulator(name, cycles, **more):
    """The states of a program of the rig on an emulator of somebody else's."""
    with Installed(Chip()):
        from bench_rig import rig_pio

        words, options = getattr(rig_pio, name)
    return emulate(list(words), stop_when=clock_cycles_reached(cycles),
                   wrap_target=options["wrap_target"], wrap_top=options["wrap"],
                   initial_state=State(), shift_isr_right=False,
                   shift_osr_right=options.get("out_shiftdir") == 1, **more)


def test_pulses_leave_when_their_words_say_on_an_independent_emulator():
    """The package rp2040-pio-emulator: 5 us, a pulse, 200 us without one, 20 us, a pulse."""
    with Installed(Chip()):
        from bench_rig.rig_pio import AFTER_US, BEFORE_US, EDGE, PULSE_US, send_pulses
    words, options = send_pulses
    state = State()
    for word in (EDGE | 5, 200, EDGE | 20):
        state.transmit_fifo.append(word)
    highs = []
    for before, after in emulate(
        list(words), stop_when=clock_cycles_reached(500), initial_state=state, auto_pull=True,
        pull_threshold=32, shift_osr_right=True, wrap_target=options["wrap_target"],
        wrap_top=options["wrap"], set_base=0, set_count=1,
    ):
        if before.pin_values & 1 != after.pin_values & 1:
            highs.append((before.clock, after.pin_values & 1))
    first = 5 + BEFORE_US + 1  # the very first word is fetched in a cycle of its own
    second = first + AFTER_US + 200 + BEFORE_US + 20 + BEFORE_US
    assert highs == [(first, 1), (first + PULSE_US, 0), (second, 1), (second + PULSE_US, 0)]


def test_duty_of_whole_periods_on_an_independent_emulator():
    """Turns in X and high turns in Y between the first edge and the last."""
    period, high = 1000, 370
    pushed = []
    for _, state in on_emulator("time_high", 20_500, jmp_pin=0, auto_push=True, push_threshold=30,
                                input_source=lambda cycle: int((cycle + 500) % period < high)):
        while state.receive_fifo:
            pushed.append(-state.receive_fifo.popleft() & (1 << 30) - 1)
    assert pushed[0::4] == pushed[2::4] and pushed[1::4] == pushed[3::4]
    turns, highs = (pushed[-4 + word] - pushed[word] for word in (0, 1))
    periods = len(pushed) // 4 - 1
    assert periods == 19
    assert 7 * turns == pytest.approx(period * periods, abs=7)
    assert highs / turns == pytest.approx(0.37, abs=1e-3)
