"""Integer arithmetic: exact where it promises to be, saturating where it must."""

from rate_control.intmath import LIMIT, clamp, isqrt, muldiv, ticks_diff


def test_muldiv_small_product():
    assert muldiv(7, 9, 4) == 15
    assert muldiv(0, LIMIT, 3) == 0
    assert muldiv(LIMIT, 0, 3) == 0


def test_muldiv_where_the_plain_product_overflows():
    # 999,999,999 x 5,000,000 / 10,000,000 = 499,999,999.5
    assert muldiv(999999999, 5000000, 10000000) == 499999999
    assert muldiv(LIMIT, LIMIT, LIMIT >> 7) == LIMIT
    assert muldiv(LIMIT, 16777215, 16777216) == LIMIT - 64


def test_muldiv_saturates():
    assert muldiv(LIMIT, 2, 1) == LIMIT
    assert muldiv(LIMIT, LIMIT, 1) == LIMIT
    assert muldiv(200000000, 1000000, 100) == LIMIT


def test_muldiv_rounds_towards_zero():
    assert muldiv(-7, 3, 2) == -10
    assert muldiv(7, 3, 2) == 10
    assert muldiv(-999999999, 5000000, 10000000) == -499999999
    assert muldiv(-LIMIT, 2, 1) == -LIMIT


def test_ticks_diff_across_the_wrap():
    assert ticks_diff(5, LIMIT - 4) == 10
    assert ticks_diff(LIMIT - 4, 5) == -10
    assert ticks_diff(0, 0) == 0
    assert ticks_diff(0x20000000, 0) == -0x20000000


def test_isqrt():
    for value in (0, 1, 3, 4, 99, 100, 65535, 65536, LIMIT):
        root = isqrt(value)
        assert root * root <= value < (root + 1) * (root + 1)


def test_clamp():
    assert clamp(-1, 0, 5) == 0
    assert clamp(9, 0, 5) == 5
    assert clamp(3, 0, 5) == 3
