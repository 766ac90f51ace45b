"""The flow loop of a pump, or of a proportional valve, that follows its duty at once.

A PI on the difference from the model. Its integral is the trim, in parts of the flow, because a
sagging battery, a worn pump or outlet err that way; so it survives a headland and goes with the
open sections.
"""

from rate_control.flow_loop import FlowLoop
from rate_control.intmath import clamp, muldiv
from rate_control.records import Decided
from rate_control.units import DUTY_FULL, FLOW_MAX_UL_S, ONE_Q12, ONE_Q20, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pump_curve import PumpCurve
    from rate_control.records import Measured, Outputs
    from rate_control.settings import Settings

# A meter that loses pulses asks for more and more: what it is given comes slowly, and a quarter is
# all it gets; one that shows a quarter too little even then is doubted, and it is taken away again.
# A meter that reads too much asks for less, which is never too much.
TRIM_MOST_Q20 = ONE_Q20 // 4
TRIM_LEAST_Q20 = -ONE_Q20 // 2
TRIM_STEP_Q20 = ONE_Q20 // 5 * TICK_MS // 1000  # in a tick: a fifth in a second
MOST_TICKS = 1000 // TICK_MS
KI_MAX_Q20 = ONE_Q20 // 2 - 1  # of an error in one tick; only a machine without delay asks for more


class PumpLoop(FlowLoop):
    """Target flow and measured flow in, commanded flow and duty out.

    trim_most_q20 is what it may give beyond its target, as a part of it; less where the curve was
    changed so that it gives more by itself. filled is 1 once the hoses have been under
    pressure, and 2 while a start is under way that finds them so.
    """

    def __init__(self, settings: "Settings", curve: "PumpCurve") -> None:
        super().__init__(settings)
        self.position_u16 = 0  # a pump has none
        self.trim_most_q20 = TRIM_MOST_Q20
        # a machine that learns its curve at work knows no lag to fill its hoses by
        self.filled = settings.curve_learning
        self._curve = curve
        self._ki_q20 = min(self._simc_ki_q20, KI_MAX_Q20)  # for the present width
        # What the step test saw, half a tick late and mostly at half of the highest flow, less the
        # meter's share: a window of pulses tells of its middle, and ends half a pulse ago.
        pulse_ms = 200000000000 // settings.meter_pulses_hl // settings.curve_flow_ul_s[-1]
        window_ms = max(pulse_ms * settings.meter_average_pulses, TICK_MS)
        late_ms = settings.loop_delay_ms + settings.loop_lag_ms
        self._lag_ms = max(late_ms - (TICK_MS + window_ms + pulse_ms >> 1), 1)
        # A later start finds the hoses under pressure. It needs the pump's own part; what is left
        # of the meter's, its rotor, is worth about a pulse.
        self._later_ms = max(self._lag_ms - pulse_ms, 0) * 3 // 5
        # a tick's share of the rise from nothing to full; a fall is never held back
        self._rise_u16 = DUTY_FULL
        if settings.duty_rise_ms:
            self._rise_u16 = max(DUTY_FULL * TICK_MS // settings.duty_rise_ms, 1)

    def update(self, measured: "Measured", decided: Decided) -> None:
        """Fill expected_ul_s, coasting, trim_q20 and command_ul_s of decided for this tick."""
        target = decided.target_ul_s
        reference = target  # the trim being right
        source = decided.source
        if source != Decided.BY_LOOP:
            reference = self.reference_ul_s(decided)
            self._reached_ml_ha = decided.rate_ml_ha
        elif decided.rate_ml_ha != self._reached_ml_ha and target:
            reference = target = target + self._lead_ul_s(target, measured, decided)
        correction = 0
        was = decided.expected_ul_s
        if self.compare(reference, measured, decided):
            error = decided.expected_ul_s - measured.flow_ul_s
            correction = muldiv(error, self._kp_q12, ONE_Q12)
            if source != Decided.BY_PROCEDURE:  # which may be learning the very curve
                moved = decided.expected_ul_s - was
                if (error > 0) == (moved > 0):  # a window of pulses may still show what was
                    error -= moved
                    if (error > 0) != (moved > 0):
                        error = 0
                self.learn(error, decided)
        trim_q20 = self.trim_q20
        decided.trim_q20 = trim_q20
        whole = target >> 12  # target x trim, in two parts that stay small
        rest = target & ONE_Q12 - 1
        trim_q12 = trim_q20 >> 8
        command = target + whole * trim_q12 + (rest * trim_q12 >> 12) + correction
        if command > target:
            most_q12 = self.trim_most_q20 >> 8
            command = min(command, target + whole * most_q12 + (rest * most_q12 >> 12))
        if command > FLOW_MAX_UL_S:
            command = FLOW_MAX_UL_S
        decided.command_ul_s = command if command > 0 else 0

    def _lead_ul_s(self, target_ul_s: int, measured: "Measured", decided: Decided) -> int:
        """Return what to add while the machine has yet to come to its rate: a start, a new rate.

        It brings a machine of first order there within a tick, if the bounds are enough for that:
        no flow at all, or as much again as the rate, and no more than the pump has left.
        Of the lag half is the actuator's own. Half is the hoses', which hold more with the square
        of the flow: it goes with the mean of both. A first start fills them; a later one finds
        pressure, and the pump's own part is enough. Down takes a fifth longer: no motor is braked.
        What a new speed needs is in the target. It ends where the meter shows that it is there.
        """
        rate = decided.rate_ml_ha
        reached = self._reached_ml_ha
        gap = rate - reached
        middle_ul_s = self._trust.middle_ul_s  # where the lag was learned
        total_mm = self._model.total_mm
        flow_ul_s = clamp(muldiv(target_ul_s, total_mm, decided.width_mm), 1, 2 * middle_ul_s)
        most = rate
        room = muldiv(rate, 2 * middle_ul_s - flow_ul_s, flow_ul_s)
        if 0 < room < most:
            most = room
        if self.filled and not reached:
            self.filled = 2
        if self.filled == 1:
            flow_ul_s = muldiv(flow_ul_s, rate + reached, 2 * rate)
        lag_ms = muldiv(self._lag_ms, total_mm, decided.width_mm)  # the fewer outlets, the longer
        lag_ms = self._lag_ms + muldiv(lag_ms, flow_ul_s, middle_ul_s) >> 1
        if self.filled == 2:
            lag_ms = muldiv(lag_ms, self._later_ms, self._lag_ms)
        if gap < 0:
            lag_ms = lag_ms * 6 // 5
        lag_ms = max(lag_ms - TICK_MS, 0)  # what comes within a tick needs no lead
        lead = clamp(muldiv(gap, lag_ms, TICK_MS), -rate, most)
        if measured.flow_valid and (measured.flow_ul_s > target_ul_s) == (gap > 0):
            lead = 0
        reached += muldiv(gap + lead, TICK_MS, lag_ms + TICK_MS)
        if -rate < lead < most:
            reached = rate
            self.filled = 1
        self._reached_ml_ha = reached
        return muldiv(lead, target_ul_s, rate)

    def take_width(self, width_mm: int) -> None:
        """Take another open width.

        The integral time grows with the lag. The gain could grow too, but a turbine's own lag
        grows as the flow falls, which is not in the model.
        """
        super().take_width(width_mm)
        self._ki_q20 = min(muldiv(self._simc_ki_q20, width_mm, self._model.total_mm), KI_MAX_Q20)

    def reference_ul_s(self, decided: Decided) -> int:
        """Return the flow that belongs to a duty that the loop did not choose."""
        flow = self._curve.flow_ul_s(decided.demand_u16, decided.width_mm)
        return muldiv(flow, ONE_Q20, ONE_Q20 + self.trim_q20)

    def learn(self, error_ul_s: int, decided: Decided) -> None:
        """Take a part of an error, expected less measured flow, into the trim.

        A shortage of more than half of what was expected is not believed, so it does not come
        here; of more flow so much is taken at a time. The gain is below a half.
        After a start, liquid that was stored under pressure passes the meter, for seconds where
        there is air before it. That is no error of the curve.
        """
        expected = decided.expected_ul_s
        if not expected or error_ul_s * decided.saturated > 0:  # no winding up against a stop
            return
        trust = self._trust
        if error_ul_s >= -(expected >> 4):
            trust.surge = 0
        elif trust.surge:
            return
        if error_ul_s < -expected:
            error_ul_s = -expected
        error_q12 = muldiv(error_ul_s, ONE_Q12, expected)
        step = min(error_q12 * self._ki_q20 // ONE_Q12, TRIM_STEP_Q20)
        most_q20 = self.trim_most_q20
        trim_q20 = min(self.trim_q20 + max(step, -TRIM_STEP_Q20), most_q20)
        if trim_q20 < TRIM_LEAST_Q20:
            trim_q20 = TRIM_LEAST_Q20
        if trim_q20 < most_q20 or error_ul_s <= expected >> 2:
            trust.doubt_ticks = 0
        elif trust.doubt_ticks < MOST_TICKS:
            trust.doubt_ticks += 1
        else:
            trim_q20 = 0
            self.doubted = 1
        self.trim_q20 = trim_q20

    def drive(self, decided: Decided, outputs: "Outputs") -> None:
        """Fill the outputs for the demand, risen no faster than the setting allows."""
        duty = decided.demand_u16
        most = outputs.duty_u16 + self._rise_u16
        if duty > most:
            duty = most
        outputs.duty_u16 = duty if duty > 0 else 0
        outputs.valve_pulse_ms = 0
