"""The flow loop: feed-forward first, and feedback only on what it did not predict.

The commanded flow goes through the pump curve, so the loop sees a machine of gain one with a
delay and a lag, which the step test measured. A model of just that delay and lag says what the
meter should read now. The PI works on the difference between that and what it does read: on
the error of the curve, a sagging battery, a worn outlet, and not on the lag of the machine.
The integral is kept by the actuator, as what was learned about the machine (see actuator.py).

Gains by SIMC (S. Skogestad, Simple analytic rules for model reduction and PID controller
tuning, J. Process Control 13 (2003) 291-309): Kc = lag / (tauc + theta),
tauI = min(lag, 4 (tauc + theta)), here for a process gain of one.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.meter_trust import MeterTrust
from rate_control.records import Decided
from rate_control.share import PWM_PUMP
from rate_control.units import FLOW_MAX_UL_S, ONE_Q12, ONE_Q16, ONE_Q20, TICK_MS

DELAY_TICKS_MAX = 40
KI_MAX_Q20 = ONE_Q20 // 2 - 1  # of an error in one tick; only a machine without delay asks for more
FINE = 4  # bits: the model keeps its flow in 1/16 uL/s


def fastest_settling_ms(delay_ms):
    """Return the shortest settling time that keeps the margins: tauc not below theta."""
    return 4 * (delay_ms + TICK_MS // 2)


def simc_gains(delay_ms, lag_ms, settling_ms):
    """Return (kp_q16, ki_q20 a tick) for a machine of gain one and a wanted settling time.

    A first-order response is within 5 % after three time constants, so tauc is a third of the
    settling time less the delay, but never below the delay: the margins end there.
    """
    closed_ms = closed_loop_ms(delay_ms, settling_ms)
    integral_ms = min(lag_ms, 4 * closed_ms)
    kp_q16 = lag_ms * ONE_Q16 // closed_ms
    ki_q20 = lag_ms * TICK_MS * ONE_Q20 // (closed_ms * integral_ms)
    return kp_q16, ki_q20


def closed_loop_ms(delay_ms, settling_ms):
    """Return tauc + theta; half a tick counts as delay."""
    theta_ms = delay_ms + TICK_MS // 2
    return max((settling_ms - theta_ms) // 3, theta_ms) + theta_ms


def valve_gain_q20(delay_ms, lag_ms, settling_ms):
    """Return how much of an error of its position a regulating valve takes in a tick.

    The valve is itself the integrator: nothing cancels the lag of the machine. Half of what
    lag and delay would allow keeps a phase margin of about 60 degrees.
    """
    slowest_ms = 2 * (lag_ms + delay_ms + TICK_MS // 2)
    return TICK_MS * ONE_Q20 // max(closed_loop_ms(delay_ms, settling_ms), slowest_ms)


class FlowLoop:
    """Turns target flow and measured flow into the flow to command.

    The model works with the pressure, which is to say with the flow for each millimetre of open
    width: a section that closes changes the total flow at once, but not the pressure if the pump
    follows. So its flows are kept with the width they belong to.
    """

    def __init__(self, settings):
        kp_q16, ki_q20 = simc_gains(
            settings.loop_delay_ms, settings.loop_lag_ms, settings.settling_time_ms)
        self._kp_q12 = kp_q16 >> 4
        self._ki_whole_q20 = min(ki_q20, KI_MAX_Q20)
        self._ki_q20 = self._ki_whole_q20
        # what this tick commands is seen in the next at the earliest
        delay_ticks = 1 + (settings.loop_delay_ms + TICK_MS // 2) // TICK_MS
        self._delay_ticks = min(delay_ticks, DELAY_TICKS_MAX)
        self._delay_ms = settings.loop_delay_ms
        self._lag_ms = settings.loop_lag_ms
        self._settling_ms = settings.settling_time_ms
        self._lag_q16 = 0  # for the present width
        self._total_mm = sum(settings.section_width_mm[: settings.section_count])
        self._valve = settings.actuator != PWM_PUMP
        self._trust = MeterTrust(settings)
        self._floor_ul_s = settings.meter_floor_ul_s
        self._past_ul_s = [0] * (DELAY_TICKS_MAX + 1)
        self._past_mm = [0] * (DELAY_TICKS_MAX + 1)
        self._slot = 0
        self._expected = 0
        self._width_mm = 0

    def rest(self):
        """Follow a machine that is off; what was learned stays."""
        if not self._width_mm:
            return
        self._width_mm = 0
        self._trust.rest()
        for index in range(DELAY_TICKS_MAX + 1):
            self._past_ul_s[index] = 0
        self._expected = 0

    def update(self, actuator, measured, decided):
        """Fill expected_ul_s, coasting, trim_q20 and command_ul_s of decided for this tick."""
        learning = decided.source != Decided.BY_PROCEDURE  # which may be learning the very curve
        trust = self._trust
        flow = measured.flow_ul_s
        if self._valve and learning and trust.can_find():
            actuator.observe(decided, measured)
        reference = actuator.reference_ul_s(decided)
        expected = self._predict(reference, decided.width_mm, flow)
        decided.expected_ul_s = expected
        error = expected - flow
        # No curve is wrong by half; a meter that says so may be stuck, and the liquid is real.
        believed = measured.flow_valid and -expected <= 2 * error <= expected
        correction = 0
        if reference < self._floor_ul_s or not believed:
            decided.coasting = 1
        else:
            decided.coasting = 0
            if reference > 0 and trust.can_teach():
                correction = muldiv(error, self._kp_q12, ONE_Q12)
                if learning:
                    ki_q20 = self._ki_q20
                    # the slower a turbine, the later it tells that a valve went too far
                    if self._valve and reference < trust.middle_ul_s:
                        ki_q20 = muldiv(ki_q20, reference, trust.middle_ul_s)
                    actuator.learn(decided, measured, ki_q20)
        if self._valve and learning and trust.is_lost(believed or not measured.flow_valid):
            actuator.forget()
        decided.trim_q20 = actuator.trim_q20
        target = decided.target_ul_s
        decided.command_ul_s = 0
        if target:
            trimmed = actuator.trimmed_ul_s(target)
            decided.command_ul_s = clamp(trimmed + correction, 0, FLOW_MAX_UL_S)

    def _predict(self, reference_ul_s, width_mm, flow_ul_s):
        """Step the model: the reference, delayed, then lagged. Return what it should read."""
        changed = width_mm != self._width_mm
        if changed:
            self._take_width(width_mm)
        slot = self._slot
        self._past_ul_s[slot] = reference_ul_s
        self._past_mm[slot] = width_mm
        self._slot = slot + 1 if slot < DELAY_TICKS_MAX else 0
        oldest = slot - self._delay_ticks  # below 0 a list counts from its end, as a ring does
        arriving = self._past_ul_s[oldest]
        if self._past_mm[oldest] != width_mm:
            arriving = muldiv(arriving, width_mm, max(self._past_mm[oldest], 1))
            arriving = min(arriving, FLOW_MAX_UL_S)
        expected = self._expected
        gap = (arriving << FINE) - expected
        near = expected >> 2
        self._trust.follow(changed or not -near <= gap <= near, reference_ul_s, flow_ul_s)
        expected += muldiv(gap, self._lag_q16, ONE_Q16)
        self._expected = expected
        return expected >> FINE

    def _take_width(self, width_mm):
        """Set what goes with a width: the fewer outlets are open, the longer a pressure takes.

        A pump's integral time grows with that lag. Its gain could grow too, but a turbine's own
        lag grows as the flow falls, which is not in the model.
        """
        lag_ms = muldiv(self._lag_ms, self._total_mm, max(width_mm, 1))
        # Tustin's equivalent of 1 - exp(-tick / lag)
        self._lag_q16 = min(TICK_MS * ONE_Q16 // (lag_ms + TICK_MS // 2), ONE_Q16)
        if self._valve:
            self._ki_q20 = valve_gain_q20(self._delay_ms, lag_ms, self._settling_ms)
        else:
            self._ki_q20 = muldiv(self._ki_whole_q20, width_mm, self._total_mm)
        if self._width_mm:
            self._trust.shift(lag_ms)
            self._expected = min(muldiv(self._expected, width_mm, self._width_mm),
                                 FLOW_MAX_UL_S << FINE)
        self._width_mm = width_mm
