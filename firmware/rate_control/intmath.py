"""Integer arithmetic that never leaves the small-int range of a 32-bit MicroPython.

A small int there has 31 bits; a value beyond 2**30 - 1 is an object on the heap, which a
tick must not create. Every product that could overflow goes through muldiv().
"""

LIMIT = 0x3FFFFFFF  # 2**30 - 1, the largest small int; also the mask of the wrapping counters
HALF = 0x20000000
DIVISOR_LIMIT = 0x1000000  # 2**24, the largest divisor for which muldiv() is exact


def clamp(value: int, low: int, high: int) -> int:
    """Return value, held between low and high."""
    if value < low:
        return low
    if value > high:
        return high
    return value


def divide_rounded(numerator: int, denominator: int) -> int:
    """Return the nearest int to a fraction (denominator > 0), halves away from zero.

    For numbers of any size, and so not for a tick.
    """
    if numerator < 0:
        return -divide_rounded(-numerator, denominator)
    return (2 * numerator + denominator) // (2 * denominator)


def muldiv(a: int, b: int, c: int) -> int:
    """Return a * b / c rounded towards zero, or +-LIMIT where the result would be beyond it.

    a is -LIMIT..LIMIT, b is 0..LIMIT, c is 1..2**24. Whole multiples of c are taken out of the
    larger factor first; mostly the rest can then be multiplied as it is.
    """
    if a < 0:
        return -(-a * b // c) if not b or -a <= LIMIT // b else -_large_muldiv(-a, b, c)
    return a * b // c if not b or a <= LIMIT // b else _large_muldiv(a, b, c)


def _large_muldiv(a: int, b: int, c: int) -> int:
    """Return floor(a * b / c), or LIMIT where it would exceed it, for a product beyond LIMIT."""
    if a < b:
        a, b = b, a
    whole = a // c
    if whole > LIMIT // b:
        return LIMIT
    rest = a % c
    plain = not rest or b <= LIMIT // rest
    quotient = rest * b // c if plain else _long_muldiv(rest, b, c)
    whole *= b
    if quotient > LIMIT - whole:
        return LIMIT
    return whole + quotient


def _long_muldiv(a: int, b: int, c: int) -> int:
    """Return floor(a * b / c) for a < c, by long multiplication.

    b is taken a few bits at a time from the top, and each partial product is divided at once:
    the remainder stays below c, so with k bits at a time no intermediate exceeds 2**(k + 1) * c,
    and k is chosen to keep that within 2**30.
    """
    if c <= 0x20000:
        bits = 15 if c <= 0x4000 else 12
    else:
        bits = 10 if c <= 0x80000 else 9 if c <= 0x100000 else 5
    mask = (1 << bits) - 1
    shift = 29 // bits * bits
    while b >> shift == 0:
        shift -= bits
    quotient = 0
    remainder = 0
    while shift >= 0:
        remainder = (remainder << bits) + a * (b >> shift & mask)
        quotient = (quotient << bits) + remainder // c
        remainder %= c
        shift -= bits
    return quotient


def wrapped_add(value: int, step: int) -> int:
    """Return (value + step) modulo 2**30, for step of either sign, both within +-LIMIT."""
    if step > 0 and value > LIMIT - step:
        return value - LIMIT - 1 + step
    return (value + step) & LIMIT


def ticks_diff(later: int, earlier: int) -> int:
    """Return later - earlier for clocks that wrap at 2**30: -2**29 .. 2**29 - 1.

    The same rule as MicroPython's time.ticks_diff(), whose period is 2**30 on 32-bit ports.
    """
    return ((later - earlier) & LIMIT ^ HALF) - HALF


def isqrt(value: int) -> int:
    """Return floor(sqrt(value)) for value 0..LIMIT, by Newton's steps down from a power of two."""
    if not value:
        return 0
    root = 0x8000
    half = 0x4000
    while half * half >= value:
        root = half
        half >>= 1
    while True:
        better = (root + value // root) >> 1
        if better >= root:
            return root
        root = better
