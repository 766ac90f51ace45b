"""The step test: delay and lag from demand to meter, around the working point.

On the bench the flow steps up and down by a few percent, several times; the responses are laid
over each other, so that the noise of single pulses averages out. Delay and lag come from the
times at which 28.35 % and 63.21 % of the step are reached, where a first-order machine is after
a third of its lag and after its whole lag: lag = 1.5 (t63 - t28), delay = t63 - lag
(C. L. Smith, Digital Computer Process Control, 1972; from memory).
"""

from rate_control.application_rate import target_flow_ul_s
from rate_control.duty import PumpCurve
from rate_control.flow_loop import fastest_settling_ms
from rate_control.intmath import clamp, muldiv
from rate_control.procedures.curve_fit import along
from rate_control.procedures.procedure import AGAINST_STOP, DONE, FAILED, Procedure
from rate_control.share import PWM_PUMP
from rate_control.units import DUTY_FULL, TICK_MS

STEPS = 8  # up and down by turns
HOLD_TICKS = 80
TAIL_TICKS = 20  # at the end of each hold: the flow that it has settled to
PART_28, PART_63, WHOLE = 2835, 6321, 10000
SPREADS = (523, 526, 548, 578, 652, 853, 1205)  # 1.5 (t63 - t28), in parts of the ramp
LAGS = (0, 100, 200, 300, 500, 800, 1205)


class StepTest(Procedure):
    """Learns loop_delay_ms and loop_lag_ms, and the settling time they allow."""

    NAME = "step_test"
    NEEDS_BENCH = 1

    def __init__(self, settings, params, totals=None):
        super().__init__()
        self._settings = settings
        self._wanted_ms = params["settling_time_ms"]
        self._all_mask = (1 << settings.section_count) - 1
        total_mm = sum(settings.section_width_mm[: settings.section_count])
        flow = target_flow_ul_s(settings.rate_ml_ha, params["speed_mm_s"], total_mm)
        curve = PumpCurve(settings)
        self.flows_ul_s = (muldiv(flow, 85, 100), muldiv(flow, 115, 100))
        self.demands_u16 = [curve.demand_u16(end, total_mm, 0) for end in self.flows_ul_s]
        self.demands_u16[0] = max(self.demands_u16[0] - settings.curve_gap_u16, 0)  # falling branch
        self._home_ticks = 0  # a valve starts from its stop
        self._motor_ms = 0  # how long a valve takes from one to the other
        if settings.actuator != PWM_PUMP:
            apart_u16 = self.demands_u16[1] - self.demands_u16[0]
            self._motor_ms = muldiv(apart_u16, settings.valve_travel_ms, DUTY_FULL)
            self._home_ticks = settings.valve_travel_ms * 13 // 10 // TICK_MS
        self._hold_ticks = HOLD_TICKS + 2 * self._motor_ms // TICK_MS
        self.response = [0] * self._hold_ticks  # sum of all steps, each from the flow before it
        self.holds = 0  # finished; hold 0 only settles
        self._ticks = 0
        self._before_ul_s = 0
        self._tail_sum = 0

    def prompt(self):
        """Return what it is doing."""
        return "stepping up and down"

    def progress_permille(self):
        """Return how far it is, 0 to 1000."""
        ticks = self.holds * self._hold_ticks + self._ticks
        return min(ticks * 1000 // ((STEPS + 1) * self._hold_ticks), 1000)

    def step(self, measured, decided):
        """Take one tick on the bench."""
        if decided.section_mask != self._all_mask:
            self.finish(FAILED, "switch all sections on")
            return
        if self.demands_u16[0] <= 0 or self.flows_ul_s[1] > self._settings.curve_flow_ul_s[-1]:
            self.finish(FAILED, "the pump cannot give this flow: lower the speed")
            return
        if self._home_ticks:
            self._home_ticks -= 1
            self.duty_u16 = AGAINST_STOP
            return
        self.duty_u16 = self.demands_u16[self.holds & 1]
        if self.holds:
            gone = measured.flow_ul_s - self._before_ul_s
            self.response[self._ticks] += gone if self.holds & 1 else -gone
        if self._ticks >= self._hold_ticks - TAIL_TICKS:
            self._tail_sum += measured.flow_ul_s
        self._ticks += 1
        if self._ticks >= self._hold_ticks:
            self._turn()

    def _turn(self):
        """Go on to the next hold, whose demand is written in this very tick."""
        self._before_ul_s = self._tail_sum // TAIL_TICKS
        self._tail_sum = 0
        self._ticks = 0
        self.holds += 1
        if self.holds <= STEPS:
            self.duty_u16 = self.demands_u16[self.holds & 1]
        elif 500 <= self.gain_permille() <= 1500:
            self.finish(DONE, "done")
        else:
            self.finish(FAILED, "flow does not follow the curve: learn it first")

    def settled(self):
        """Return the height of the summed response at its end; the last tick asks for it too."""
        height = 0
        for index in range(self._hold_ticks - TAIL_TICKS, self._hold_ticks):
            height += self.response[index] // TAIL_TICKS
        return height

    def gain_permille(self):
        """Return the measured step of flow in parts of the curve's."""
        wanted = self.flows_ul_s[1] - self.flows_ul_s[0]
        return muldiv(max(self.settled(), 0) // STEPS, 1000, max(wanted, 1))

    def reached_ms(self, part):
        """Return when the response reaches a part of its height (10000 is all of it)."""
        level = self.settled() * part // WHOLE
        before = 0
        for index, height in enumerate(self.response):
            if height >= level:
                return index * TICK_MS + TICK_MS * (level - before) // max(height - before, 1)
            before = height
        return self._hold_ticks * TICK_MS

    def mean_ms(self):
        """Return the mean time of the response: the area above it over its height."""
        height = max(self.settled(), 1)
        missing = sum(height - reached for reached in self.response)
        return TICK_MS // 2 + missing * TICK_MS // height

    def delay_and_lag_ms(self):
        """Return (delay, lag); what the motor of a valve takes is neither."""
        t28 = self.reached_ms(PART_28)
        t63 = self.reached_ms(PART_63)
        spread = 3 * (t63 - t28) // 2
        if not self._motor_ms:
            lag = clamp(spread, 20, 8000)
            return clamp(t63 - lag, 0, 2000), lag
        lag = clamp(behind_ramp_ms(spread, self._motor_ms), 20, 8000)
        # mean times add: of the ramp, which begins late, then delay and lag
        ramp = self._settings.valve_lost_ms + self._settings.valve_play_ms + self._motor_ms // 2
        return clamp(self.mean_ms() - ramp - lag, 0, 2000), lag

    def proposal(self):
        """Return delay, lag and the settling time: the wanted one, or the fastest that is safe.

        The look-ahead is three quarters of what the machine is late: the last quarter would
        bring more flicker from the speed sensor than it gains.
        """
        if self.state != DONE:
            return {}
        delay, lag = self.delay_and_lag_ms()
        return {"loop_delay_ms": delay, "loop_lag_ms": lag,
                "look_ahead_ms": min((delay + lag) * 3 // 4, 1000),
                "settling_time_ms": max(self._wanted_ms, self.fastest_ms(delay))}

    def fastest_ms(self, delay):
        """Return the shortest settling time that the setting allows and the margins bear."""
        return clamp(fastest_settling_ms(delay), 300, 30000)

    def facts(self):
        """Return what was measured; a wish that was too brisk is named with its reason."""
        if self.state != DONE:
            return []
        delay, lag = self.delay_and_lag_ms()
        fastest = self.fastest_ms(delay)
        found = [("delay", delay, "time_ms"), ("lag", lag, "time_ms"),
                 ("gain against the curve", self.gain_permille(), "share_permille"),
                 ("fastest settling time", fastest, "time_ms")]
        if self._wanted_ms < fastest:
            found.append(("wish too brisk", "the delay would make it surge", "words"))
        return found


def behind_ramp_ms(spread_ms, ramp_ms):
    """Return the lag behind an input that is no step but a ramp, from 1.5 (t63 - t28).

    By the exact response y = (t - lag + lag exp(-t / lag)) / ramp: beyond 1.2 ramps it is the
    same as after a step, and a pure ramp has a spread of its own.
    """
    part = spread_ms * 1000 // ramp_ms
    if part >= SPREADS[-1]:
        return spread_ms
    return along(SPREADS, LAGS, max(part, SPREADS[0])) * ramp_ms // 1000
