"""Integer arithmetic that never leaves the small-int range of a 32-bit MicroPython.

A small int there has 31 bits; a value beyond 2**30 - 1 is an object on the heap, which a
tick must not create. Every product that could overflow goes through muldiv().
"""

LIMIT = 0x3FFFFFFF  # 2**30 - 1, the largest small int; also the mask of the wrapping counters
HALF = 0x20000000
DIVISOR_LIMIT = 0x1000000  # 2**24, the largest divisor for which muldiv() is exact


def clamp(value, low, high):
    """Return value, held between low and high."""
    if value < low:
        return low
    if value > high:
        return high
    return value


def muldiv(a, b, c):
    """Return floor(a * b / c), or LIMIT where the result would exceed it.

    a and b are 0..LIMIT, c is 1..2**24. Where the plain product would overflow, the smaller
    factor is taken a few bits at a time from the top, as in long multiplication, and each partial
    product is divided at once: the remainder stays below c, so with k bits at a time no
    intermediate exceeds 2**(k + 1) * c, and k is chosen to keep that within 2**30.
    """
    if a < b:
        a, b = b, a
    if b == 0:
        return 0
    if a <= LIMIT // b:
        return a * b // c
    whole = a // c
    if whole > LIMIT // b:
        return LIMIT
    rest = a % c
    bits = 15 if c <= 0x4000 else 10 if c <= 0x80000 else 5
    mask = (1 << bits) - 1
    shift = 30 - bits
    while b >> shift == 0:
        shift -= bits
    quotient = 0
    remainder = 0
    while shift >= 0:
        remainder = (remainder << bits) + rest * (b >> shift & mask)
        quotient = (quotient << bits) + remainder // c
        remainder %= c
        shift -= bits
    whole *= b
    if quotient > LIMIT - whole:
        return LIMIT
    return whole + quotient


def muldiv_signed(a, b, c):
    """Return a * b / c rounded towards zero, for a of either sign (see muldiv)."""
    if a < 0:
        return -muldiv(-a, b, c)
    return muldiv(a, b, c)


def wrapped_add(value, step):
    """Return (value + step) modulo 2**30, for step of either sign, both within +-LIMIT."""
    if step > 0 and value > LIMIT - step:
        return value - LIMIT - 1 + step
    return (value + step) & LIMIT


def ticks_diff(later, earlier):
    """Return later - earlier for clocks that wrap at 2**30: -2**29 .. 2**29 - 1.

    The same rule as MicroPython's time.ticks_diff(), whose period is 2**30 on 32-bit ports.
    """
    difference = (later - earlier) & LIMIT
    if difference >= HALF:
        return difference - LIMIT - 1
    return difference


def isqrt(value):
    """Return floor(sqrt(value)) for value 0..LIMIT, by bits from the top."""
    root = 0
    bit = 0x4000
    while bit:
        trial = root + bit
        if trial * trial <= value:
            root = trial
        bit >>= 1
    return root
