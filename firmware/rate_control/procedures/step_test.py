"""The step test: delay and lag from demand to meter, around the working point.

On the bench the flow steps up and down by a few percent, several times; the responses are laid
over each other, so that the noise of single pulses averages out (step_fit.py does the rest).
"""

from rate_control.application_rate import target_flow_ul_s
from rate_control.intmath import clamp, muldiv
from rate_control.procedures import step_fit
from rate_control.procedures.procedure import AGAINST_STOP, DONE, FAILED, Procedure
from rate_control.procedures.step_fit import TAIL_TICKS
from rate_control.procedures.uneven_supply import MOVED, UnevenSupply
from rate_control.pump_curve import PumpCurve
from rate_control.units import DUTY_FULL, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

STEPS = 8  # up and down by turns
HOLD_TICKS = 80  # at least
HOLD_MAX_TICKS = 480


class StepTest(Procedure):
    """Learns loop_delay_ms and loop_lag_ms, and the settling time they allow."""

    NAME = "step_test"
    NEEDS_BENCH = 1

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        super().__init__()
        self._settings = settings
        self._wanted_ms = params["settling_time_ms"]
        self._all_mask = (1 << settings.section_count) - 1
        total_mm = settings.total_width_mm()
        flow = target_flow_ul_s(settings.rate_ml_ha, params["speed_mm_s"], total_mm)
        curve = PumpCurve(settings)
        self.flows_ul_s = (muldiv(flow, 85, 100), muldiv(flow, 115, 100))
        self.demands_u16 = [curve.demand_u16(end, total_mm, 0) for end in self.flows_ul_s]
        self.demands_u16[0] = max(self.demands_u16[0] - settings.curve_gap_u16, 0)  # falling branch
        self._home_ticks = 0  # a valve starts from its stop
        self._motor_ms = 0  # how long a valve takes from one to the other
        self._away_ticks = 0  # and from its stop to the first
        if settings.actuator != PWM_PUMP:
            apart_u16 = self.demands_u16[1] - self.demands_u16[0]
            self._motor_ms = muldiv(apart_u16, settings.valve_travel_ms, DUTY_FULL)
            self._home_ticks = settings.valve_travel_ms * 13 // 10 // TICK_MS
            away_u16 = max(self.demands_u16[0], 0)
            self._away_ticks = muldiv(away_u16, settings.valve_travel_ms, DUTY_FULL) // TICK_MS
        self._hold_ticks = HOLD_TICKS + 2 * self._motor_ms // TICK_MS
        # sum of all steps, each from the flow before it; no longer than it takes to settle
        self.response = [0] * max(HOLD_MAX_TICKS, self._hold_ticks)
        self.holds = 0  # finished; hold 0 settles and finds out how long that takes
        self._ticks = 0
        self._before_ul_s = 0
        self._tail_sum = 0
        pump = settings.actuator == PWM_PUMP
        self._supply = UnevenSupply(settings.curve_supply_mv if pump else 0)

    def prompt(self) -> str:
        """Return what it is doing."""
        return "stepping up and down"

    def progress_permille(self) -> int:
        """Return how far it is, 0 to 1000."""
        ticks = self.holds * self._hold_ticks + min(self._ticks, self._hold_ticks)
        return min(ticks * 1000 // ((STEPS + 1) * self._hold_ticks), 1000)

    def step(self, measured: "Measured", decided: "Decided") -> None:
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
        supply = self._supply
        supply.follow(measured.supply_mv, self.holds)
        self.duty_u16 = supply.made_good_u16(self.demands_u16[self.holds & 1])
        if not self.holds:
            self._settle(measured.flow_ul_s)
            return
        gone = measured.flow_ul_s - self._before_ul_s
        self.response[self._ticks] += gone if self.holds & 1 else -gone
        if self._ticks >= self._hold_ticks - TAIL_TICKS:
            self._tail_sum += measured.flow_ul_s
        self._ticks += 1
        if self._ticks >= self._hold_ticks:
            self._turn()

    def _settle(self, flow_ul_s: int) -> None:
        """Wait in the first hold until the flow has settled; the others last as long."""
        self._tail_sum += flow_ul_s
        self._ticks += 1
        if self._ticks % TAIL_TICKS:
            return
        average = self._tail_sum // TAIL_TICKS
        settled = abs(average - self._before_ul_s) <= average >> 8
        taken = self._ticks - self._away_ticks
        if taken >= self._hold_ticks and settled or taken >= len(self.response):
            self._hold_ticks = min(taken, len(self.response))
            self._turn()
        else:
            self._before_ul_s = average
            self._tail_sum = 0

    def _turn(self) -> None:
        """Go on to the next hold, whose demand is written in this very tick."""
        self._before_ul_s = self._tail_sum // TAIL_TICKS
        self._tail_sum = 0
        self._ticks = 0
        self.holds += 1
        if self.holds <= STEPS:
            self.duty_u16 = self._supply.made_good_u16(self.demands_u16[self.holds & 1])
        elif 500 <= self.gain_permille() <= 1500:
            self.finish(DONE, "done")
        elif self._supply.moved_mv():
            self.finish(FAILED, MOVED)
        else:
            self.finish(FAILED, "flow does not follow the curve: learn it first")

    def gain_permille(self) -> int:
        """Return the measured step of flow in parts of the curve's; the last tick asks too."""
        height = step_fit.settled(self.response, self._hold_ticks)
        wanted = self.flows_ul_s[1] - self.flows_ul_s[0]
        return muldiv(max(height, 0) // STEPS, 1000, max(wanted, 1))

    def delay_and_lag_ms(self) -> tuple[int, int]:
        """Return (delay, lag); what the motor of a valve takes is neither."""
        if not self._motor_ms:
            return step_fit.after_step(self.response, self._hold_ticks)
        # where the curve is off here, the valve went further than it says, and took longer
        ramp_ms = self._motor_ms * self.gain_permille() // 1000
        return step_fit.after_ramp(self.response, self._hold_ticks, self._late_ms(), ramp_ms)

    def proposal(self) -> dict:
        """Return delay, lag, look-ahead and the settling time: the fastest safe one or slower."""
        if self.state != DONE:
            return {}
        delay, lag = self.delay_and_lag_ms()
        return {"loop_delay_ms": delay, "loop_lag_ms": lag,
                "look_ahead_ms": look_ahead_ms(delay, lag),
                "settling_time_ms": max(self._wanted_ms, self.fastest_ms(delay, lag))}

    def fastest_ms(self, delay: int, lag: int) -> int:
        """Return the shortest settling time that the margins bear and the machine can keep.

        Left to itself it is within 5 % of a step after its delay and three lags, and a valve
        first has to get there; feedback does not make it any faster.
        """
        alone = self._late_ms() + self._motor_ms + delay + 3 * lag
        return clamp(max(fastest_settling_ms(delay), alone), 300, 30000)

    def _late_ms(self) -> int:
        """Return how long a valve's motor runs before the valve moves."""
        if not self._motor_ms:
            return 0
        return self._settings.valve_lost_ms + self._settings.valve_play_ms

    def facts(self) -> list[tuple]:
        """Return what was measured; a wish that was too brisk is named with its reason."""
        if self.state != DONE:
            return []
        delay, lag = self.delay_and_lag_ms()
        fastest = self.fastest_ms(delay, lag)
        found: list[tuple] = [("delay", delay, "time_ms"), ("lag", lag, "time_ms"),
                 ("gain against the curve", self.gain_permille(), "share_permille"),
                 ("fastest settling time", fastest, "time_ms")]
        if self._wanted_ms < fastest:
            why = "the machine takes so long by itself"
            if fastest <= fastest_settling_ms(delay):
                why = "the delay would make it surge"
            found.append(("wish too brisk", why, "words"))
        moved_mv = self._supply.moved_mv()
        if moved_mv:
            what, do = MOVED.split(": ")
            found += [(what, moved_mv, "supply_mv"), ("to be sure", do, "words")]
        return found


def fastest_settling_ms(delay_ms: int) -> int:
    """Return the shortest settling time that keeps the margins: tauc not below theta."""
    return 4 * (delay_ms + TICK_MS // 2)


def look_ahead_ms(delay_ms: int, lag_ms: int) -> int:
    """Return three quarters of what a machine is late.

    The last quarter would bring more flicker from the speed sensor than it gains; a pump is led by
    it a second time (ground_speed.py).
    """
    return min((delay_ms + lag_ms) * 3 // 4, 1000)
