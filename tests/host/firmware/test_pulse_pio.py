"""The PIO programs: encodings against published ones, behaviour on an independent emulator."""

import random
from functools import cache

import pytest
from pioemu import State, clock_cycles_reached, emulate

from tests.fakes.asm_pio import OUT_LOW, asm_pio
from tests.fakes.chip import Chip, Square
from tests.fakes.modules import Installed
from tests.fakes.pio import StateMachine

PIN = 18
BITS_30 = (1 << 30) - 1
CYCLES_US = 25


@cache
def programs():
    """The module with both programs, assembled by the fake rp2."""
    with Installed(Chip()):
        from boards import rp2_pulse_pio

        return rp2_pulse_pio


# Words that the RP2040 data sheet prints for its own example programs: 3.2.1 (square wave) and
# 3.6.2 to 3.6.4 in part; the data sheet writes delays in brackets as here.


@asm_pio(set_init=OUT_LOW)
def square_wave():
    set(pindirs, 1)
    label("again")
    set(pins, 1)[1]
    set(pins, 0)
    jmp("again")


@asm_pio()
def single_instructions():
    in_(pins, 1)
    label("three")
    set(x, 7)[10]
    jmp(x_dec, "three")[6]
    push(block)
    pull(noblock)
    out(x, 32)
    mov(osr, isr)
    nop()


def test_assembler_gives_the_words_of_the_data_sheet():
    assert list(square_wave[0]) == [0xE081, 0xE101, 0xE000, 0x0001]


def test_assembler_encodes_each_kind_of_instruction():
    """From table 370 of the data sheet, field by field."""
    assert list(single_instructions[0]) == [
        0x4001, 0xEA27, 0x0641, 0x8020, 0x8080, 0x6020, 0xA0E6, 0xA042,
    ]


def test_programs_fit_their_blocks():
    """32 words a block; two counters share one program, and so do two valve outputs."""
    assert len(programs().count_edges[0]) <= 32
    assert len(programs().one_shot[0]) <= 32


def emulated_edges(levels, turns):
    """Run count_edges on the emulator; returns the records it pushed, as (time, count) in turns.

    levels(cycle) is the pin. The emulator's receive FIFO is emptied as DMA would.
    """
    words, options = programs().count_edges

    def pins(cycle: int) -> int:
        return levels(cycle) << PIN

    pushed = []
    steps = emulate(
        list(words),
        stop_when=clock_cycles_reached(turns * CYCLES_US),
        input_source=pins,
        auto_push=True,
        push_threshold=options["push_thresh"],
        shift_isr_right=False,
        jmp_pin=PIN,
        wrap_target=options["wrap_target"],
        wrap_top=options["wrap"],
        initial_state=State(),
    )
    for _, state in steps:
        while state.receive_fifo:
            pushed.append(-state.receive_fifo.popleft() & BITS_30)
    assert len(pushed) % 4 == 0
    assert pushed[0::4] == pushed[2::4]
    assert pushed[1::4] == pushed[3::4]
    return list(zip(pushed[0::4], pushed[1::4], strict=True))


def pulse_train(starts_us, width_us):
    """A level that is high for width_us from each start."""
    edges = [(start * CYCLES_US, (start + width) * CYCLES_US)
             for start, width in zip(starts_us, width_us, strict=True)]
    return lambda cycle: int(any(rise <= cycle < fall for rise, fall in edges))


def test_every_edge_at_ten_kilohertz_is_counted_and_timed():
    starts = [100 + 100 * n + n % 7 / 7 for n in range(40)]
    records = emulated_edges(pulse_train(starts, [50] * 40), 4300)
    assert [count for _, count in records] == list(range(1, 41))
    delay = programs().FILTER_LOOPS - 1
    errors = [time - delay - start for (time, _), start in zip(records, starts, strict=True)]
    assert min(errors) >= 0
    assert max(errors) < 1.5


def test_shortest_pulse_and_gap_that_count():
    filter_us = programs().FILTER_LOOPS
    good = [40 + n * 2 * (filter_us + 2) for n in range(6)]
    assert len(emulated_edges(pulse_train(good, [filter_us + 1] * 6), 260)) == 6
    assert emulated_edges(pulse_train(good, [filter_us - 1] * 6), 260) == []


def test_a_gap_shorter_than_the_filter_does_not_split_a_pulse():
    assert len(emulated_edges(pulse_train([40, 96], [50, 50]), 200)) == 1


def test_a_pin_that_is_high_from_the_start_is_no_edge():
    assert emulated_edges(lambda cycle: int(cycle < 5000), 300) == []


def test_the_clock_loses_no_cycle_over_edges():
    """A push makes its turn six cycles longer and the next six shorter."""
    starts = [50 + 40 * n for n in range(50)]
    records = emulated_edges(pulse_train(starts, [20] * 50), 2100)
    assert [b - a for (a, _), (b, _) in zip(records, records[1:], strict=False)] == [40] * 49


def test_loop_takes_as_long_as_its_constants_say():
    assert programs().COUNT_HZ == programs().LOOP_CYCLES * 1_000_000
    assert programs().SHOT_HZ == programs().SHOT_CYCLES * programs().SHOTS_PER_MS * 1000
    assert all(clock % programs().COUNT_HZ == 0 for clock in (125e6, 150e6, 200e6))


class Recording(Chip):
    """A chip that keeps what a machine pushes."""

    def __init__(self):
        super().__init__(0)
        self.pushed = []

    def carry(self, machine):
        self.pushed += [-word & BITS_30 for word in machine.rx]
        machine.rx.clear()


@pytest.mark.parametrize("seed", range(4))
def test_fake_machine_agrees_with_the_emulator(seed):
    """The one that the board's tests run on, with its skipping ahead, on random noise."""
    rng = random.Random(seed)
    now, starts, widths = 20, [], []
    while now < 1500:
        starts.append(now)
        widths.append(rng.choice((1, 5, 7, 8, 9, 12, 40)))
        now += widths[-1] + rng.choice((2, 7, 8, 9, 11, 60))
    train = pulse_train(starts, widths)
    chip = Recording()
    fake = StateMachine(chip, 0, programs().count_edges, programs().COUNT_HZ, jmp_pin=PIN)
    chip.level = lambda _, ns: train(ns // 40)
    changes = sorted(edge for start, width in zip(starts, widths, strict=True)
                     for edge in (start * 1000, (start + width) * 1000))
    chip.next_change = lambda _, ns: next((edge for edge in changes if edge > ns), None)
    fake.running = True
    fake.run_to(1600 * 1000)
    assert list(zip(chip.pushed[0::4], chip.pushed[1::4], strict=True)) == emulated_edges(
        train, 1600
    )


def shot_levels(words_at, cycles):
    """Run one_shot on the emulator; returns the cycles at which the pin changes.

    words_at gives, by cycle, the words that the processor writes.
    """
    words, options = programs().one_shot
    changes, level = [], 0
    pending = dict(words_at)
    steps = emulate(
        list(words),
        stop_when=clock_cycles_reached(cycles),
        set_base=0,
        set_count=1,
        wrap_target=options["wrap_target"],
        wrap_top=options["wrap"],
    )
    for _, state in steps:
        for cycle in [cycle for cycle in pending if cycle <= state.clock]:
            state.transmit_fifo.append(pending.pop(cycle))
        if state.pin_values & 1 != level:
            level ^= 1
            changes.append(state.clock)
    return changes


@pytest.mark.parametrize("turns", [1, 2, 100, 500])
def test_shot_lasts_as_many_turns_as_asked_and_ends_by_itself(turns):
    rise, fall = shot_levels({20: turns}, 100 + 5 * turns)
    assert fall - rise == turns * programs().SHOT_CYCLES
    assert rise - 20 <= 2 * programs().SHOT_CYCLES


def test_a_new_word_replaces_the_rest_of_a_shot():
    rise, fall = shot_levels({20: 1000, 220: 10}, 6000)
    assert 200 < fall - rise <= 200 + 10 * 5 + 10


def test_zero_ends_a_shot_within_a_turn():
    rise, fall = shot_levels({20: 1000, 220: 0}, 6000)
    assert fall <= 220 + 2 * programs().SHOT_CYCLES


def test_idle_output_stays_low():
    assert shot_levels({}, 1000) == []
    assert shot_levels({50: 0}, 1000) == []


def test_square_source_tells_its_changes():
    """The fake's signal itself, because every board test stands on it."""
    wave = Square(1000, 100, 30, 2)
    levels = [(999, 0), (1000, 1), (1029, 1), (1030, 0), (1100, 1), (1130, 0), (1200, 0)]
    assert [(ns, wave.level(ns)) for ns, _ in levels] == levels
    assert [wave.next_change(t) for t in (0, 1000, 1050, 1199)] == [1000, 1030, 1100, 1200]
    assert [wave.rises(t) for t in (999, 1000, 1100, 9999)] == [0, 1, 2, 2]
