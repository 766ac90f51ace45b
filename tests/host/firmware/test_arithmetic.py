"""The core's arithmetic against exact fractions, over the whole permitted range.

fractions.Fraction is the reference. The small-int rule is checked where it can break: every
intermediate of muldiv() is recomputed with a type that refuses to leave -2**30 .. 2**30 - 1.
"""

import math
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from rate_control import application_rate, intmath, loop_gains, pump_curve, units
from rate_control.intmath import DIVISOR_LIMIT, LIMIT
from tests.support.small_int import SmallInt

amounts = st.integers(0, LIMIT)
signed = st.integers(-LIMIT, LIMIT)
divisors = st.integers(1, DIVISOR_LIMIT)


@given(signed, amounts, divisors)
def test_muldiv_is_exact_or_saturated(a, b, c):
    exact = Fraction(a * b, c)
    assert intmath.muldiv(a, b, c) == max(min(exact.__trunc__(), LIMIT), -LIMIT)


@given(signed, amounts, divisors)
def test_muldiv_never_leaves_the_small_ints(a, b, c):
    intmath.muldiv(SmallInt(a), SmallInt(b), SmallInt(c))


@given(amounts)
def test_isqrt_is_the_floor_of_the_root(value):
    assert intmath.isqrt(SmallInt(value)) == math.isqrt(value)


@given(st.integers(0, LIMIT), st.integers(-(2**29), 2**29 - 1))
def test_ticks_diff_inverts_a_wrapped_step(start, step):
    later = (start + step) % (LIMIT + 1)
    assert intmath.ticks_diff(SmallInt(later), SmallInt(start)) == step


rates = st.integers(1000, units.RATE_MAX_ML_HA)
speeds = st.integers(0, units.SPEED_MAX_MM_S)
widths = st.integers(50, units.WIDTH_MAX_MM)


@given(rates, speeds, widths)
def test_target_flow_within_one_step_of_exact(rate, speed, width):
    # rate [mL/ha] x 1000 uL/mL / 1e10 mm2/ha x speed [mm/s] x width [mm]
    exact = Fraction(rate * 1000 * speed * width, 10**10)
    flow = application_rate.target_flow_ul_s(SmallInt(rate), SmallInt(speed), SmallInt(width))
    assert flow == min(exact.__floor__(), units.FLOW_MAX_UL_S)


@given(st.integers(0, units.FLOW_MAX_UL_S), speeds, widths)
def test_applied_rate_within_one_step_or_two_hundredths_of_a_percent(flow, speed, width):
    got = application_rate.applied_rate_ml_ha(SmallInt(flow), SmallInt(speed), SmallInt(width))
    if speed == 0:
        assert got == 0
        return
    exact = min(Fraction(flow * 10**7, speed * width), Fraction(LIMIT))
    assert abs(got - exact) <= max(1, exact * 2 / 10000)


@given(st.integers(50, 10000), st.integers(1, 500))
def test_a_metered_pulse_train_reads_exactly(pulses_l, flow_hz):
    """One pulse every 1e6 / flow_hz us at a K-factor reads within two steps or 0.02 %.

    The volume of a pulse and the quotient are each rounded down.
    """
    from rate_control.pulse_counter import PulseCounter

    nl_per_pulse = 10**11 // (pulses_l * 100)
    period_us = 1_000_000 // flow_hz
    counter = PulseCounter(1, 2_000_000, SmallInt(nl_per_pulse), 1000)
    for count in range(3):
        edge_us = SmallInt(LIMIT - 3 * period_us + count * period_us)
        got = counter.update(SmallInt(count), edge_us, edge_us)
    exact = Fraction(10**9, pulses_l) / period_us * 1000
    assert abs(got - min(exact, LIMIT)) <= max(2, exact * 2 / 10000)


@given(st.lists(st.integers(0, units.FLOW_MAX_UL_S), min_size=9, max_size=9, unique=True),
       st.lists(st.integers(0, units.DUTY_FULL), min_size=9, max_size=9, unique=True),
       st.integers(0, units.FLOW_MAX_UL_S))
def test_interpolation_stays_small_and_on_the_line(flows, duties, flow):
    flows, duties = sorted(flows), sorted(duties)
    got = pump_curve.interpolate([*map(SmallInt, flows)], [*map(SmallInt, duties)], SmallInt(flow))
    if flows[0] <= flow <= flows[-1]:
        high = max(i for i in range(1, 9) if flow >= flows[i - 1])
        low = high - 1
        exact = duties[low] + Fraction(
            (flow - flows[low]) * (duties[high] - duties[low]), flows[high] - flows[low])
        assert abs(got - exact) <= 1


@given(st.integers(0, 2000), st.integers(20, 8000), st.integers(300, 30000))
def test_simc_gains_match_skogestad(delay_ms, lag_ms, settling_ms):
    """Kc = lag / (tauc + theta), tauI = min(lag, 4 (tauc + theta)): Skogestad 2003, K = 1."""
    theta = Fraction(delay_ms + units.TICK_MS // 2)
    tauc = max((settling_ms - theta) / 3, theta)
    kc = lag_ms / (tauc + theta)
    ki = kc * units.TICK_MS / min(lag_ms, 4 * (tauc + theta))
    kp_q16, ki_q20 = loop_gains.simc_gains(delay_ms, lag_ms, settling_ms)
    assert abs(kp_q16 - kc * 65536) <= kc * 65536 / 50 + 1
    assert abs(ki_q20 - ki * 2**20) <= ki * 2**20 / 50 + 1
    assert 0 < kp_q16 <= LIMIT and 0 < ki_q20 <= LIMIT
