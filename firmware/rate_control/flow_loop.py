"""The flow loop: feed-forward first, and feedback only on what it did not predict.

The commanded flow goes through the pump curve, so the loop sees a machine of gain one with a
delay and a lag, which the step test measured. A model of just that delay and lag says what the
meter should read now. The PI works on the difference between that and what it does read: on
the error of the curve, a sagging battery, a worn outlet, and not on the lag of the machine.
The integral is a trim in parts of the target flow, because such errors grow with the flow;
it survives a headland and scales with the open sections.

Gains by SIMC (S. Skogestad, Simple analytic rules for model reduction and PID controller
tuning, J. Process Control 13 (2003) 291-309): Kc = lag / (tauc + theta),
tauI = min(lag, 4 (tauc + theta)), here for a process gain of one.
"""

from rate_control.intmath import clamp, muldiv, muldiv_signed
from rate_control.units import FLOW_MAX_UL_S, ONE_Q16, TICK_MS

DELAY_TICKS_MAX = 40
ONE_Q20 = 1048576
TRIM_LIMIT_Q20 = ONE_Q20 // 2  # the curve may be wrong by half; more is a fault, not a trim
FINE = 64  # the model keeps its flow in 1/64 uL/s, so that a slow lag loses nothing


def simc_gains(delay_ms, lag_ms, settling_ms):
    """Return (kp_q16, ki_q20 a tick) for a machine of gain one and a wanted settling time.

    A first-order response is within 5 % after three time constants, so tauc is a third of the
    settling time less the delay, but never below the delay: the margins end there.
    """
    theta_ms = delay_ms + TICK_MS // 2
    tauc_ms = max((settling_ms - theta_ms) // 3, theta_ms)
    integral_ms = min(lag_ms, 4 * (tauc_ms + theta_ms))
    kp_q16 = lag_ms * ONE_Q16 // (tauc_ms + theta_ms)
    ki_q20 = lag_ms * TICK_MS * ONE_Q20 // ((tauc_ms + theta_ms) * integral_ms)
    return kp_q16, ki_q20


class FlowLoop:
    """Turns target flow and measured flow into the flow to command."""

    def __init__(self, settings):
        self._kp_q16, self._ki_q20 = simc_gains(
            settings.loop_delay_ms, settings.loop_lag_ms, settings.settling_time_ms)
        self._delay_ticks = min(settings.loop_delay_ms // TICK_MS, DELAY_TICKS_MAX)
        # Tustin's equivalent of 1 - exp(-tick / lag)
        self._lag_q16 = min(TICK_MS * ONE_Q16 // (settings.loop_lag_ms + TICK_MS // 2), ONE_Q16)
        self._floor_ul_s = settings.meter_floor_ul_s
        self._past = [0] * (DELAY_TICKS_MAX + 1)
        self._slot = 0
        self._expected_fine = 0
        self.trim_q20 = 0

    def rest(self):
        """Follow a machine that is off: the model runs down, the trim stays learned."""
        for index in range(DELAY_TICKS_MAX + 1):
            self._past[index] = 0
        self._expected_fine = 0

    def update(self, target_ul_s, measured, decided):
        """Fill expected_ul_s, coasting and command_ul_s of decided for this tick."""
        self._predict(target_ul_s)
        expected = self._expected_fine // FINE
        decided.expected_ul_s = expected
        correction = 0
        decided.coasting = 1 if target_ul_s < self._floor_ul_s or not measured.flow_valid else 0
        if target_ul_s > 0 and not decided.coasting:
            error = expected - measured.flow_ul_s
            correction = muldiv_signed(error, self._kp_q16, ONE_Q16)
            if error * decided.saturated <= 0:  # no winding up against a stop
                self.trim_q20 = clamp(
                    self.trim_q20 + muldiv_signed(error, self._ki_q20, target_ul_s),
                    -TRIM_LIMIT_Q20, TRIM_LIMIT_Q20)
        trimmed = target_ul_s + muldiv_signed(self.trim_q20, target_ul_s, ONE_Q20)
        decided.command_ul_s = clamp(trimmed + correction, 0, FLOW_MAX_UL_S)

    def _predict(self, target_ul_s):
        """Step the model: the target, delayed, then lagged."""
        self._past[self._slot] = target_ul_s
        oldest = (self._slot - self._delay_ticks) % (DELAY_TICKS_MAX + 1)
        gap = self._past[oldest] * FINE - self._expected_fine
        self._expected_fine += muldiv_signed(gap, self._lag_q16, ONE_Q16)
        self._slot = (self._slot + 1) % (DELAY_TICKS_MAX + 1)
