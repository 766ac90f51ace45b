"""From what the step test measured, and the settling time asked for, to the gains of a loop.

By SIMC (S. Skogestad, Simple analytic rules for model reduction and PID controller tuning,
J. Process Control 13 (2003) 291-309): Kc = lag / (tauc + theta), tauI = min(lag,
4 (tauc + theta)), here for a process gain of one.
"""

from rate_control.units import ONE_Q16, ONE_Q20, TICK_MS


def simc_gains(delay_ms: int, lag_ms: int, settling_ms: int) -> tuple[int, int]:
    """Return (kp_q16, ki_q20 a tick) for a machine of gain one and a wanted settling time.

    A first-order response is within 5 % after three time constants, so tauc is a third of the
    settling time less the delay, but never below the delay: the margins end there.
    """
    closed_ms = closed_loop_ms(delay_ms, settling_ms)
    integral_ms = min(lag_ms, 4 * closed_ms)
    kp_q16 = lag_ms * ONE_Q16 // closed_ms
    ki_q20 = lag_ms * TICK_MS * ONE_Q20 // (closed_ms * integral_ms)
    return kp_q16, ki_q20


def closed_loop_ms(delay_ms: int, settling_ms: int) -> int:
    """Return tauc + theta; half a tick counts as delay."""
    theta_ms = delay_ms + TICK_MS // 2
    return max((settling_ms - theta_ms) // 3, theta_ms) + theta_ms
