"""Debouncing and the delays of the implement switch."""

from rate_control.debounce import Debounce


def levels(debounce, raw, ticks):
    stable = 0
    for _ in range(ticks):
        stable = debounce.update(raw)
    return stable


def test_first_levels_are_taken_as_they_are():
    assert Debounce(3, 200).update(5) == 5


def test_a_bounce_is_ignored():
    debounce = Debounce(1, 100)
    debounce.update(0)
    for raw in (1, 0, 1, 0, 1, 1):
        assert debounce.update(raw) == 0
    assert debounce.update(1) == 1


def test_separate_delays_for_on_and_off():
    debounce = Debounce(2, 0)
    debounce.set_delays(2, 200, 400)
    debounce.update(0)
    assert levels(debounce, 2, 4) == 0
    assert levels(debounce, 2, 1) == 2
    assert levels(debounce, 0, 8) == 2
    assert levels(debounce, 0, 1) == 0


def test_switches_do_not_share_their_waiting():
    debounce = Debounce(2, 100)
    debounce.update(0)
    debounce.update(1)
    debounce.update(3)
    assert debounce.update(3) == 1
    assert debounce.update(3) == 3
