"""Priming: the pump holds the line at its pressure while the implement is lifted.

So the first metre gets its rate. It is loaded where the file of a pressure sensor asks for it. Here
is only a wish with a duty, renewed in every tick: the interlock decides, with a row of its own, and
no section is open then. A pump that presses against shut valves has bounds: never more than half
above the duty that the pump curve says for that pressure without a flow, whatever the sensor reads;
no duty at all a quarter above the pressure; no wish where the sensor does not answer, where the
pressure does not come within COME_TICKS or takes all of that duty, where the meter shows a flow
though all is shut, where the curve never gets to such a pressure, and once the time is used up.
After that only the implement, down, gives another try. Lifted, the outputs stay off for REST_TICKS
first: what must not be lost is written to the flash then, and an implement switch that chatters
starts no pump.
"""

from app.pressure import BROKEN, ROOT_SHIFT
from rate_control.interlock import IMPLEMENT, PRIMING
from rate_control.intmath import clamp, isqrt, muldiv
from rate_control.procedures import RUNNING
from rate_control.records import Request
from rate_control.units import CURVE_POINTS, DUTY_FULL, ONE_Q12, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.controller import Controller

STEP_SHIFT = 5  # of the full duty that an error as large as the pressure moves it in a tick
REST_TICKS = 2000 // TICK_MS  # a run ends a second after it, totals are kept once a second
COME_TICKS = 4000 // TICK_MS
LEAK_TICKS = 2000 // TICK_MS  # of flow once the pressure is there: more than the line stores
NO_PRESSURE = "priming: no pressure: pump, sensor, leak"
FLOW = "priming: flow while all is shut: valve, leak"
BEYOND = "priming: more pressure than the pump curve has"


class Priming:
    """Asks for it. problem says why it has given up, "" where it has not."""

    def __init__(self, prime_pa: int, limit_s: int) -> None:
        self._prime_pa = prime_pa
        self._limit_ticks = limit_s * 1000 // TICK_MS
        self._left = self._limit_ticks
        self._rest_ticks = REST_TICKS
        self._come_ticks = 0
        self._leak_ticks = 0
        self._duty_u16 = 0
        self.most_u16 = 0
        self.problem = ""

    def reckon(self, controller: "Controller", new_ul_s: int, new_pa: int, check_pa: int) -> None:
        """Take half more than the duty for the pressure without a flow as most.

        By the law of width_share.py: where flow begins, and the part of the pressure, which grows
        with the square of the flow that new outlets would have at it. A pressure beyond the end of
        the curve is of another machine, or its range is wrong.
        """
        settings = controller.settings
        drop = max(self._prime_pa - check_pa, 0)
        flow = muldiv(new_ul_s, isqrt(drop << ROOT_SHIFT), isqrt(new_pa << ROOT_SHIFT))
        top_ul_s = settings.curve_flow_ul_s[CURVE_POINTS - 1]
        if flow >= top_ul_s:
            self.most_u16 = 0
            self.problem = BEYOND
            return
        part = muldiv(flow, ONE_Q12, top_ul_s)
        due = settings.curve_duty_u16[0] + muldiv(
            settings.curve_pressure_u16, part * part >> 12, ONE_Q12)
        self.most_u16 = min(due + (due >> 1), DUTY_FULL)

    def tick(self, controller: "Controller", pressure: int) -> None:
        """Ask for a duty for the next tick, or for none. It allocates nothing."""
        decided = controller.decided
        if decided.permits & IMPLEMENT:
            self._left = self._limit_ticks
            self._rest_ticks = REST_TICKS
            self._come_ticks = self._leak_ticks = 0
            self.problem = ""
        elif self._rest_ticks:
            self._rest_ticks -= 1
        if decided.state == PRIMING:
            self._left -= 1
            controller.loop.filled = 1
            self._watch(pressure, controller.measured.flow_readable)
        else:
            self._duty_u16 = 0
        procedure = controller.procedure
        if (pressure == BROKEN or self._rest_ticks or self._left <= 0 or self.problem
                or not self.most_u16
                or controller.settings.actuator != PWM_PUMP
                or controller.request.regulation != Request.CLOSED_LOOP
                or procedure is not None and procedure.state == RUNNING):
            controller.request.prime_u16 = -1
            return
        controller.request.prime_u16 = self._next_u16(pressure)

    def _watch(self, pressure: int, flows: int) -> None:
        """Give up on a pressure that does not come, and on a flow that does not end.

        A pump that gets all it may, and half of that was more than it should need, presses
        elsewhere than where the sensor is.
        """
        short = pressure * 4 < self._prime_pa * 3
        if flows and not short:
            self._leak_ticks += 1
            if self._leak_ticks > LEAK_TICKS:
                self.problem = FLOW
        elif short or self._duty_u16 >= self.most_u16:
            self._come_ticks += 1
            if self._come_ticks > COME_TICKS:
                self.problem = NO_PRESSURE
        else:
            self._come_ticks = self._leak_ticks = 0

    def _next_u16(self, pressure: int) -> int:
        error = self._prime_pa - pressure
        step = muldiv(DUTY_FULL >> STEP_SHIFT, error, self._prime_pa) if error > 0 else (
            -muldiv(DUTY_FULL >> STEP_SHIFT, -error, self._prime_pa))
        self._duty_u16 = clamp(self._duty_u16 + step, 0, self.most_u16)
        return 0 if pressure > self._prime_pa + (self._prime_pa >> 2) else self._duty_u16
