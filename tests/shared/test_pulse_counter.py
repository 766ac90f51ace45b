"""Reciprocal estimation, fed with edges at known times."""

from rate_control.intmath import LIMIT
from rate_control.pulse_counter import PulseCounter

TICK = 50000


def run(counter, period_us, ticks, now_us=LIMIT - 300000, count=LIMIT - 3):
    """Feed a steady pulse train for some ticks; return (now_us, count, rate)."""
    next_edge = 0
    elapsed = 0
    edge_us = now_us
    rate = 0
    for _ in range(ticks):
        elapsed += TICK
        while next_edge <= elapsed:
            edge_us = (now_us + next_edge) & LIMIT
            count = (count + 1) & LIMIT
            next_edge += period_us
        rate = counter.update(count, edge_us, (now_us + elapsed) & LIMIT)
    return (now_us + elapsed) & LIMIT, count, rate


def test_steady_train_is_exact_to_the_microsecond():
    # 3 Hz: a half-second gate would err by 33 % rms; the period is exact
    counter = PulseCounter(1, 2000000, 1000000)
    rate = run(counter, 333333, 40)[2]
    assert counter.valid
    assert counter.window_us == 333333 * counter.window_pulses
    assert rate == 3  # 1e6 units a pulse, 3.000003 pulses a second


def test_window_holds_whole_revolutions():
    counter = PulseCounter(6, 2000000, 1)
    run(counter, 20000, 40)
    assert counter.window_pulses >= 6
    assert counter.window_us == counter.window_pulses * 20000


def test_window_grows_no_longer_than_it_must():
    counter = PulseCounter(6, 2000000, 1)
    now, count, _ = run(counter, 20000, 40)
    assert counter.window_pulses < 6 + 3  # three pulses come in some ticks
    for step in range(1, 4):  # 200 Hz: ten in a tick are enough
        counter.update(count + 10 * step, now + step * TICK, now + step * TICK)
    assert counter.window_pulses == 10
    assert counter.window_us == TICK


def test_first_edge_after_standstill_gives_no_speed():
    counter = PulseCounter(1, 1000000, 1000)
    counter.update(10, 0, 0)
    assert counter.update(11, 40000, 50000) == 0
    assert not counter.valid
    counter.update(12, 90000, 100000)
    assert counter.valid
    assert counter.window_us == 50000


def test_silence_lowers_the_estimate_then_ends_it():
    counter = PulseCounter(1, 1000000, LIMIT)
    now, count, before = run(counter, 50000, 20)
    edge = now
    rates = []
    for step in range(1, 25):
        rates.append(counter.update(count, edge, (now + step * TICK) & LIMIT))
    assert rates[3] == LIMIT // (4 * TICK)
    assert before >= rates[1] >= rates[5] >= rates[15]
    assert rates[-1] == 0
    assert not counter.valid


def test_edge_a_whole_turn_of_the_clock_after_a_standstill_is_the_first():
    counter = PulseCounter(1, 1000000, 1000)
    counter.update(10, 0, 0)
    counter.update(11, 40000, 50000)
    counter.update(11, 40000, 1100000)  # silence
    counter.update(12, 41000, 50000)  # 17.9 minutes later
    assert not counter.valid


def test_pulses_before_power_up_are_not_ours():
    counter = PulseCounter(1, 1000000, 1)
    counter.update(123456, 0, 1000)
    assert counter.pulses == 0
    counter.update(123459, 40000, 51000)
    assert counter.pulses == 3


def test_count_wraps():
    counter = PulseCounter(1, 1000000, 1)
    counter.update(LIMIT, 0, 0)
    counter.update(2, 40000, 50000)
    assert counter.pulses == 3
