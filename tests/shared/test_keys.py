"""Encoder and keys: notches out of quarter steps, one event a press."""

from app.keys import Keys, RawKeys
from rate_control.intmath import LIMIT


def settled(quarters=0):
    """Keys whose levels have been seen."""
    keys, raw = Keys(), RawKeys()
    raw.quarters = quarters
    for _ in range(3):
        assert not keys.update(raw)
    return keys, raw


def turns(keys, raw, positions):
    """The notches reported while the encoder goes through positions."""
    found = []
    for position in positions:
        raw.quarters = position & LIMIT
        keys.update(raw)
        found.append(keys.turned)
    return found


def test_four_quarter_steps_are_a_notch():
    keys, raw = settled()
    assert turns(keys, raw, range(1, 9)) == [0, 0, 0, 1, 0, 0, 0, 1]
    assert turns(keys, raw, range(7, -1, -1)) == [0, 0, 0, -1, 0, 0, 0, -1]


def test_trembling_does_not_turn():
    keys, raw = settled()
    assert turns(keys, raw, [1, 0, -1, 0, 2, 3, 2, -3, 0]) == [0] * 9
    assert turns(keys, raw, [4, 3, 4, 5, 4, 3]) == [1, 0, 0, 0, 0, 0]


def test_fast_turning_is_not_lost():
    keys, raw = settled()
    assert turns(keys, raw, [43, 44, -40]) == [10, 1, -21]


def test_count_wraps():
    keys, raw = settled(LIMIT - 1)
    assert turns(keys, raw, [LIMIT + 3, LIMIT - 1]) == [1, -1]


def test_where_the_encoder_stands_at_power_up_does_not_matter():
    for start in (0, 3, LIMIT, 123457):
        keys, raw = settled(start)
        assert turns(keys, raw, [start + 4]) == [1]


def presses(levels):
    """How many presses come out of a row of levels of the push key."""
    keys, raw = settled()
    count = 0
    for level in levels:
        raw.push = level
        keys.update(raw)
        count += keys.pushed
    return count


def test_one_press_is_one_event_however_long():
    assert presses([1] * 2) == 1
    assert presses([1] * 500) == 1
    assert presses([1, 1, 0, 0, 1, 1, 0, 0]) == 2


def test_bounce_and_spikes_are_no_press():
    assert presses([1, 0, 1, 0, 1, 0]) == 0
    assert presses([1, 0, 1, 1, 0, 1, 1, 0, 1]) == 1


def test_key_held_at_power_up_waits_for_its_release():
    keys, raw = Keys(), RawKeys()
    raw.back = 1
    for _ in range(50):
        assert not keys.update(raw)
    raw.back = 0
    keys.update(raw)
    keys.update(raw)
    raw.back = 1
    keys.update(raw)
    assert keys.update(raw) and keys.back and not keys.pushed
