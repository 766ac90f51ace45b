"""Debouncing and the delays of the implement switch."""

from rate_control.debounce import Debounce, make_debounce
from rate_control.settings import build

MASTER, IMPLEMENT, SECTION = 1, 2, 4


def levels(debounce, raw, ticks):
    stable = 0
    for _ in range(ticks):
        stable = debounce.update(raw)
    return stable


def settled(width, delay_ms, raw=0):
    debounce = Debounce(width, delay_ms)
    assert levels(debounce, raw, delay_ms // 50 + 2) == raw
    return debounce


def test_until_proved_the_master_is_on_and_every_other_switch_off():
    for delay_ms in (50, 200, 500):
        for raw in range(8):
            debounce = Debounce(3, delay_ms)
            assert levels(debounce, raw, delay_ms // 50) == MASTER
            assert levels(debounce, raw, 1) == raw


def test_one_sample_switches_nothing_on():
    for delay_ms in (0, 50):
        debounce = settled(3, delay_ms)
        for bit in (MASTER, IMPLEMENT, SECTION):
            assert levels(debounce, bit, 1) == 0
            assert levels(debounce, 0, 1) == 0
            assert levels(debounce, bit, 2) == bit
            assert levels(debounce, 0, 2) == 0


def test_without_debouncing_a_switch_goes_off_at_once():
    assert levels(settled(3, 0, 7), 0, 1) == 0


def test_a_bounce_is_ignored():
    debounce = settled(1, 100)
    for raw in (1, 0, 1, 0, 1, 1):
        assert debounce.update(raw) == 0
    assert debounce.update(1) == 1


def test_separate_delays_for_on_and_off():
    debounce = Debounce(2, 0)
    debounce.set_delays(IMPLEMENT, 200, 400)
    debounce.update(0)
    assert levels(debounce, IMPLEMENT, 4) == 0
    assert levels(debounce, IMPLEMENT, 1) == IMPLEMENT
    assert levels(debounce, 0, 8) == IMPLEMENT
    assert levels(debounce, 0, 1) == 0


def test_switches_do_not_share_their_waiting():
    debounce = settled(2, 100)
    debounce.update(1)
    debounce.update(3)
    assert debounce.update(3) == 1
    assert debounce.update(3) == 3


def test_settings_delay_the_implement_alone_and_debounce_every_section():
    settings, _ = build({"section_count": 8, "switch_debounce_ms": 100,
                         "implement_start_delay_ms": 200, "implement_stop_delay_ms": 400})
    debounce = make_debounce(settings)
    levels(debounce, 0, 20)
    every = 1023
    assert levels(debounce, every, 2) == 0
    assert levels(debounce, every, 1) == every & ~IMPLEMENT
    assert levels(debounce, every, 3) == every & ~IMPLEMENT
    assert levels(debounce, every, 1) == every
    assert levels(debounce, 0, 3) == IMPLEMENT
    assert levels(debounce, 0, 7) == IMPLEMENT
    assert levels(debounce, 0, 1) == 0


def test_a_cut_wire_of_the_implement_switch_reads_as_up_unless_it_opens_when_down():
    cut = MASTER | SECTION  # the contact of the implement switch is open, and stays so
    for changes, stable in (
        ({}, cut),
        ({"implement_open_is_down": 0}, cut),
        ({"implement_open_is_down": 1}, cut | IMPLEMENT),
    ):
        settings, _ = build(changes)
        debounce = make_debounce(settings)
        assert debounce.update(cut) == MASTER, "nothing is believed at once"
        assert levels(debounce, cut, 5) == stable
        assert levels(debounce, cut | IMPLEMENT, 5) == stable ^ IMPLEMENT
        assert levels(make_debounce(settings), MASTER, 5) == MASTER | stable & IMPLEMENT
