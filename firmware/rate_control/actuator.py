"""Actuators: what a demand becomes at the pins, and what the machine has taught about itself.

A pump or proportional valve follows its duty at once, and what it is off its curve becomes a
trim. A regulating valve is driven towards a position, and what it is off becomes a correction
of that position. The loop and the last gate do not know which one is fitted.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.records import Decided
from rate_control.share import PWM_PUMP
from rate_control.units import DUTY_FULL, ONE_Q12, ONE_Q20, TICK_MS
from rate_control.valve_drive import ValveDrive

TRIM_LIMIT_Q20 = ONE_Q20 // 2  # the curve may be wrong by half; more is a fault, not a trim


class PwmPump:
    """A duty straight to the output.

    The trim is in parts of the flow, because a sagging battery, a worn pump or outlet err that
    way; so it survives a headland and scales with the open sections.
    """

    def __init__(self, settings, curve):
        self.trim_q20 = 0
        self.position_u16 = 0
        self._curve = curve
        # a tick's share of the rise from nothing to full; a fall is never held back
        self._rise_u16 = DUTY_FULL
        if settings.duty_rise_ms:
            self._rise_u16 = max(DUTY_FULL * TICK_MS // settings.duty_rise_ms, 1)

    def trimmed_ul_s(self, target_ul_s):
        """Return the flow to command for a wanted flow, by what was learned."""
        trim_q12 = self.trim_q20 >> 8
        # target x trim, in two parts that stay small
        extra = target_ul_s // ONE_Q12 * trim_q12 + target_ul_s % ONE_Q12 * trim_q12 // ONE_Q12
        return target_ul_s + extra

    def reference_ul_s(self, decided):
        """Return the flow that the meter should show by and by, the trim being right."""
        if decided.source == Decided.BY_LOOP:
            return decided.target_ul_s
        flow = self._curve.flow_ul_s(decided.demand_u16, decided.width_mm)
        return muldiv(flow, ONE_Q20, ONE_Q20 + self.trim_q20)

    def learn(self, decided, measured, ki_q20):
        """Take a part of the error between expected and measured flow into the trim.

        An error of more than half of what was expected is not believed, so it does not come
        here; and ki_q20 is below a half.
        """
        expected = decided.expected_ul_s
        error = expected - measured.flow_ul_s
        if not expected or error * decided.saturated > 0:  # no winding up against a stop
            return
        error_q12 = muldiv(error, ONE_Q12, expected)  # at most half
        trim = self.trim_q20 + error_q12 * ki_q20 // ONE_Q12
        self.trim_q20 = clamp(trim, -TRIM_LIMIT_Q20, TRIM_LIMIT_Q20)

    def drive(self, decided, outputs):
        """Fill the outputs for the demand, risen no faster than the setting allows."""
        outputs.duty_u16 = clamp(decided.demand_u16, 0, outputs.duty_u16 + self._rise_u16)
        outputs.valve_pulse_ms = 0


class RegulatingValve:
    """A motor that is driven towards a position; the meter says where it really is."""

    def __init__(self, settings, curve):
        self.trim_q20 = 0
        self.valve = ValveDrive(settings)
        self._curve = curve

    @property
    def position_u16(self):
        """The reckoned position, 0 no flow to DUTY_FULL."""
        return self.valve.position_u16

    def trimmed_ul_s(self, target_ul_s):
        """Return the wanted flow: what was learned is in the position."""
        return target_ul_s

    def reference_ul_s(self, decided):
        """Return the flow that belongs to the reckoned position."""
        return self._curve.flow_ul_s(self.valve.position_u16, decided.width_mm)

    def observe(self, decided, measured):
        """Find a valve that was left open before power-up: the meter reads it at once."""
        if not self.valve.known and measured.flow_readable:
            self.valve.found(
                self._curve.demand_u16(measured.flow_ul_s, decided.width_mm, 0))

    def forget(self):
        """A steady meter has contradicted the position for long: look for it anew.

        What was reckoned from the motor's time is a guess; only the meter sees the valve. A rotor
        that is stuck shows nothing at all, which is a fault of its own.
        """
        self.valve.forget()

    def learn(self, decided, measured, ki_q20):
        """Move the reckoned position towards where the measured flow says the valve is."""
        found = self._curve.demand_u16(measured.flow_ul_s, decided.width_mm, 0)
        thought = self._curve.demand_u16(decided.expected_ul_s, decided.width_mm, 0)
        self.valve.correct(found - thought, ki_q20)

    def drive(self, decided, outputs):
        """Fill the outputs with the pulse of this tick."""
        outputs.duty_u16 = 0
        outputs.valve_pulse_ms = self.valve.toward(decided.demand_u16)


def make(settings, curve):
    """Return the actuator of the settings."""
    if settings.actuator == PWM_PUMP:
        return PwmPump(settings, curve)
    return RegulatingValve(settings, curve)
