"""The model of the machine: what the flow meter should read now.

The commanded flow goes through the pump curve, so what is left of the machine is a gain of one
behind a delay and a lag, which the step test measured. The model works with the pressure, which
is to say with the flow for each millimetre of open width: a section that closes changes the total
flow at once, but not the pressure if the pump follows. So its flows are kept with the width that
they belong to.

A pump is told in a tick what it gives from then on. Of a regulating valve the model is told where
it has come to, on its way through the tick: half a tick less is still to pass. But its reckoned way
counts at once what the motor runs on after its pulse, and that is still to come.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.units import FLOW_MAX_UL_S, ONE_Q16, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings

DELAY_TICKS_MAX = 40
FINE = 4  # bits: the model keeps its flow in 1/16 uL/s


class Predictor:
    """Follows the flow that was asked for, as late and as slowly as the machine does.

    width_mm is the width of the last tick, 0 at rest, and lag_ms the lag that goes with it;
    total_mm is that of all sections.
    jumped says that the model is far from where it is going, and so least right.
    """

    def __init__(self, settings: "Settings") -> None:
        delay_ms = settings.loop_delay_ms
        if settings.actuator != PWM_PUMP:
            delay_ms += run_on_ms(settings) - TICK_MS // 2
        # what this tick commands is seen in the next at the earliest
        whole_ticks = (delay_ms + TICK_MS // 2) // TICK_MS
        self._delay_ticks = min(1 + whole_ticks, DELAY_TICKS_MAX)
        slots = self._delay_ticks + 1
        self._more_ms = TICK_MS // 2  # that the lag has for Tustin's equivalent
        if settings.actuator != PWM_PUMP:
            self._more_ms += delay_ms - whole_ticks * TICK_MS  # of the delay, beyond whole ticks
        self._whole_lag_ms = settings.loop_lag_ms
        self.total_mm = settings.total_width_mm()
        self._lag_q16 = 0
        self._past_ul_s = [0] * slots
        self._past_mm = [0] * slots
        self._slot = 0
        self._expected = 0
        self.width_mm = 0
        self.lag_ms = settings.loop_lag_ms
        self.jumped = 0

    def rest(self) -> None:
        """Follow a machine that is off."""
        self.width_mm = 0
        self._expected = 0
        for index in range(self._delay_ticks + 1):
            self._past_ul_s[index] = 0

    def take_width(self, width_mm: int) -> None:
        """Take another open width: the fewer outlets are open, the longer a pressure takes."""
        self.lag_ms = muldiv(self._whole_lag_ms, self.total_mm, max(width_mm, 1))
        # Tustin's equivalent of 1 - exp(-tick / lag)
        self._lag_q16 = min(TICK_MS * ONE_Q16 // (self.lag_ms + self._more_ms), ONE_Q16)
        if self.width_mm:
            self._expected = min(muldiv(self._expected, width_mm, self.width_mm),
                                 FLOW_MAX_UL_S << FINE)
        self.width_mm = width_mm

    def step(self, reference_ul_s: int) -> int:
        """Take the flow that was asked for in this tick; return what the meter should read."""
        width_mm = self.width_mm
        slot = self._slot
        past_ul_s = self._past_ul_s
        past_ul_s[slot] = reference_ul_s
        past_mm = self._past_mm
        past_mm[slot] = width_mm
        self._slot = slot + 1 if slot < self._delay_ticks else 0
        oldest = slot - self._delay_ticks  # below 0 a list counts from its end, as a ring does
        arriving = past_ul_s[oldest]
        if past_mm[oldest] != width_mm:
            arriving = muldiv(arriving, width_mm, max(past_mm[oldest], 1))
            arriving = min(arriving, FLOW_MAX_UL_S)
        expected = self._expected
        gap = (arriving << FINE) - expected
        near = expected >> 2
        self.jumped = 0 if -near <= gap <= near else 1
        expected += muldiv(gap, self._lag_q16, ONE_Q16)
        self._expected = expected
        return expected >> FINE


def run_on_ms(settings: "Settings") -> int:
    """Return how long a valve's motor runs on, as time at full speed.

    The shortest pulse that moves the valve is its start; what is lost of it is the start less
    what the motor runs on. More than a tick is a shortest pulse that somebody made longer.
    """
    return clamp(settings.valve_min_pulse_ms - settings.valve_lost_ms, 0, TICK_MS)
