"""Headings in small integers, and their sines."""

TURN_CDEG = 36000
ONE_Q14 = 16384
COURSE_FROM_MM_S = 300  # a receiver that moves more slowly does not know where it is heading

# sin(z x 90 degrees) = z (A - z2 (B - z2 C)) for z from 0 to 1, within 1.2e-4: C. Hastings,
# Approximations for Digital Computers (1955), sheet 14, quoted from memory; the tests measure it.
_A_Q14 = 25733
_B_Q14 = 10539
_C_Q14 = 1191


def sine_q14(angle_cdeg: int) -> int:
    """Return the sine of an angle in hundredths of a degree, of either sign; 16384 is one."""
    angle = angle_cdeg % TURN_CDEG
    negative = angle >= 18000
    if negative:
        angle -= 18000
    if angle > 9000:
        angle = 18000 - angle
    z = (angle * ONE_Q14 + 4500) // 9000
    z2 = z * z >> 14
    sine = (_A_Q14 - ((_B_Q14 - (_C_Q14 * z2 >> 14)) * z2 >> 14)) * z + 8192 >> 14
    return -sine if negative else sine


def turned(later_cdeg: int, earlier_cdeg: int) -> int:
    """Return how far one heading is turned from another: -18000 to 17999, + is to the right."""
    return (later_cdeg - earlier_cdeg + 18000) % TURN_CDEG - 18000
