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


def test_one_that_was_never_fed_knows_nothing():
    counter = PulseCounter(1, 1000000, 1000)
    assert (counter.pulses, counter.valid) == (0, 0)
    assert (counter.window_pulses, counter.window_us) == (0, 0)
    assert counter.update(7, 40000, 50000) == 0, "an edge from before power-up"
    assert (counter.pulses, counter.valid) == (0, 0)


def test_nothing_from_before_the_first_edge_is_in_a_window():
    counter = PulseCounter(64, 1000000, 1000)
    for turn in range(2):  # the second a whole turn of the clock later, after a standstill
        counter.update(100 + 3 * turn, 0, 0)
        counter.update(101 + 3 * turn, 10000, 50000)
        counter.update(103 + 3 * turn, 90000, 100000)
        assert (counter.pulses, counter.following, counter.valid) == (2, 1, 1)
        assert (counter.window_pulses, counter.window_us) == (2, 80000)
        counter.update(103 + 3 * turn, 90000, 1200000)


def test_window_reaches_back_for_just_the_pulses_it_must_hold():
    for in_a_tick, average, held, ticks in ((1, 6, 6, 6), (6, 6, 6, 1), (3, 7, 9, 3),
                                            (1, 64, 16, 16)):  # 16 ticks are remembered
        counter = PulseCounter(average, 2000000, 1000000, 5)
        for step in range(1, 60):
            rate = counter.update(in_a_tick * step, TICK * step, TICK * step)
        assert counter.pulses == in_a_tick
        assert (counter.window_pulses, counter.window_us) == (held, ticks * TICK)
        assert rate == 5 * 1000000 * in_a_tick // TICK


def test_window_is_no_longer_than_the_timeout():
    for period_us, held in ((250000, 4), (250001, 3), (1000000, 1)):
        counter = PulseCounter(64, 1000000, 1)
        for step in range(12):
            counter.update(step, period_us * step, period_us * step)
        assert counter.valid
        assert counter.window_pulses == held
        assert counter.window_us == held * period_us


def test_edge_that_cannot_follow_the_one_before_begins_anew():
    for gap_us, follows in ((1, 1), (1000000, 1), (0, 0), (1000001, 0), (-5, 0)):
        counter = PulseCounter(1, 1000000, 1000000)
        counter.update(10, 0, 0)
        counter.update(11, 40000, 50000)
        counter.update(12, 90000, 100000)
        edge_us = 90000 + gap_us
        rate = counter.update(14, edge_us, edge_us)
        assert (counter.pulses, counter.valid) == (2, follows), gap_us
        assert bool(rate) == bool(follows)
        counter.update(15, edge_us + 30000, edge_us + 30000)
        assert counter.window_us == 30000
        assert counter.window_pulses == 1


def test_silence_of_just_the_timeout_is_no_standstill_yet():
    counter = PulseCounter(1, 1000000, LIMIT)
    counter.update(10, 0, 0)
    counter.update(11, 40000, 50000)
    counter.update(12, 90000, 100000)
    assert counter.update(12, 90000, 1090000) == LIMIT // 1000000
    assert counter.valid
    assert counter.update(12, 90000, 1090001) == 0
    assert not counter.valid


def test_waiting_lowers_the_rate_of_a_window_and_never_raises_it():
    counter = PulseCounter(6, 2000000, LIMIT)
    counter.update(10, 0, 0)
    counter.update(11, 1, 1)
    before = counter.update(17, 300006, 300006)  # six pulses in 300005 us
    for silent_us in (50000, 50001, 50002, 100000, 400000):
        rate = counter.update(17, 300006, 300006 + silent_us)
        assert rate <= before
        before = rate
    assert before == LIMIT // 400000


def test_until_the_next_pulse_is_due_the_rate_stays():
    counter = PulseCounter(6, 2000000, 1000000, 1000)
    counter.update(10, 0, 0)
    counter.update(11, 1, 1)
    before = counter.update(17, 300006, 300006)  # six in 300005 us: one in 50000.8
    assert before == 6000000000 // 300005
    for silent_us in (10000, 50000):
        assert counter.update(17, 300006, 300006 + silent_us) == before
    assert counter.update(17, 300006, 300006 + 60000) == 1000000000 // 60000 < before


def test_a_window_of_seconds_goes_the_long_way_round():
    counter = PulseCounter(2, 4000000, 1000000, 1000)
    for count, edge_us in ((10, 0), (11, 1500000), (12, 3000000), (13, 4500000)):
        rate = counter.update(count, edge_us, edge_us)
    assert counter.window_pulses == 2 and rate == 2000000000 // 3000000


def test_a_count_that_jumps_is_held_to_a_million_pulses():
    counter = PulseCounter(64, 1000000, 1)
    counter.update(10, 0, 0)
    counter.update(11, 40000, 50000)
    counter.update(3000011, 90000, 100000)
    assert counter.window_pulses == 1000000
    counter.update(3000012, 140000, 150000)  # the jump is in this window, too
    assert counter.window_pulses == 1000000


def test_latest_is_the_rate_of_the_last_pulses_alone():
    for pulses in (1, 3):
        counter = PulseCounter(6, 2000000, 1000000, 1000)
        now, count, _ = run(counter, 20000, 40)
        edge = (now + 30000) & LIMIT
        before = (edge - counter._edges[counter._newest]) & LIMIT
        counter.update((count + pulses) & LIMIT, edge, (now + TICK) & LIMIT)
        whole = counter.latest()
        counter.update((count + pulses) & LIMIT, edge, (now + 5 * TICK) & LIMIT)  # waited since
        assert counter.latest() == whole == 1000000000 * pulses // before > 0
