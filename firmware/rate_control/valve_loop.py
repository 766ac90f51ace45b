"""The flow loop of a regulating valve, whose motor is driven towards a position.

The valve keeps its position by itself, so what a difference from the model teaches is where it
really stands: the reckoned position is put right, a part of the error in every tick. So its trim
is what was put right of late, in parts of the travel.
"""

from rate_control.flow_loop import FlowLoop
from rate_control.intmath import muldiv
from rate_control.loop_gains import closed_loop_ms
from rate_control.meter_trust import AT_REST
from rate_control.records import Decided
from rate_control.units import DUTY_FULL, FLOW_MAX_UL_S, ONE_Q12, ONE_Q20, TICK_MS
from rate_control.valve_drive import ValveDrive

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pump_curve import PumpCurve
    from rate_control.records import Measured, Outputs
    from rate_control.settings import Settings


DOUBT_TICKS = 2000 // TICK_MS  # of a steady meter that shows too much
ODD_TICKS = 1000 // TICK_MS
MOVING_SHIFT = 2
SHUT_MOST_MS = 1000  # that a section valve is waited for
SLIP_SHIFT = 4  # from a share of the travel, 2**16, to that of the trim, 2**20


class ValveLoop(FlowLoop):
    """Target flow and measured flow in, commanded flow and motor pulses out."""

    NEEDS_REST = 1

    def __init__(self, settings: "Settings", curve: "PumpCurve") -> None:
        super().__init__(settings)
        self.valve = ValveDrive(settings)
        self._curve = curve
        self._delay_ms = settings.loop_delay_ms
        self._settling_ms = settings.settling_time_ms
        self._shut_ms = min(settings.hold_lead_ms[1], SHUT_MOST_MS)
        self._ki_q20 = 0  # for the present width
        self._odd = 0  # ticks that the meter has shown less than the motor's way allows

    @property
    def position_u16(self) -> int:
        """The reckoned position, 0 no flow to DUTY_FULL."""
        return self.valve.position_u16

    def update(self, measured: "Measured", decided: Decided) -> None:
        """Fill expected_ul_s, coasting, trim_q20 and command_ul_s of decided for this tick."""
        learning = decided.source != Decided.BY_PROCEDURE  # which may be learning the very curve
        trust = self._trust
        reference = self.reference_ul_s(decided)
        target = decided.target_ul_s
        if learning and not self.valve.known:
            if trust.can_find() and self.observe(measured, decided):
                reference = self.reference_ul_s(decided)
            if reference < target < measured.flow_ul_s and measured.flow_readable:
                target = reference  # it was left open: no further before it is found
        correction = 0
        teaches = self.compare(reference, measured, decided)
        if teaches == AT_REST:
            error = decided.expected_ul_s - measured.flow_ul_s
            if error <= decided.expected_ul_s >> 2:  # more is credible only of the position
                correction = muldiv(error, self._kp_q12, ONE_Q12)
        if teaches and learning:
            self.learn(reference, measured, decided)
        if self.believed:
            trust.doubt_ticks = 0
        elif learning:
            self.disbelieve(measured, decided)
        decided.trim_q20 = self.trim_q20
        command = target + correction if target else 0
        if command > FLOW_MAX_UL_S:
            command = FLOW_MAX_UL_S
        decided.command_ul_s = command if command > 0 else 0

    def rest(self) -> None:
        """Follow a machine that is off."""
        if self._model.width_mm:
            self.valve.halt()
        super().rest()

    def take_width(self, width_mm: int) -> None:
        """Take another open width; at that one the curve may be off by more."""
        valve = self.valve
        if width_mm < self._model.width_mm and not valve.shutting_ms:
            valve.shutting_ms = self._shut_ms
        super().take_width(width_mm)
        self._agreed_ul_s = 0
        valve.motor.spoil()
        self._ki_q20 = valve_gain_q20(self._delay_ms, self._model.lag_ms, self._settling_ms)

    def reference_ul_s(self, decided: Decided) -> int:
        """Return the flow that belongs to the reckoned position."""
        return self._curve.flow_ul_s(self.valve.position_u16, decided.width_mm)

    def observe(self, measured: "Measured", decided: Decided) -> int:
        """Find a valve that was left open before power-up: the meter reads it at once.

        Returns whether it stands further open than it was reckoned.
        """
        if not measured.flow_readable:
            return 0
        found = self._curve.demand_u16(measured.flow_ul_s, decided.width_mm, 0)
        further = self.valve.found(found, decided.demand_u16)
        self.trim_q20 = self.valve.slip_u16 << SLIP_SHIFT
        return further

    def learn(self, reference_ul_s: int, measured: "Measured", decided: Decided) -> None:
        """Move the reckoned position towards where the measured flow says the valve is.

        The slower a turbine, the later it tells that a valve went too far: so less is taken
        below the middle flow, and less while the flow moves. On rough ground it always does.
        """
        trust = self._trust
        gain_q20 = self._ki_q20
        if not trust.steady:
            gain_q20 >>= MOVING_SHIFT
        middle = trust.middle_ul_s
        if reference_ul_s < middle:
            gain_q20 = muldiv(gain_q20, reference_ul_s, middle)
        curve = self._curve
        found = curve.demand_u16(measured.flow_ul_s, decided.width_mm, 0)
        expected = decided.expected_ul_s
        error = found - curve.demand_u16(expected, decided.width_mm, 0)
        if error < 0 and decided.saturated > 0:
            return  # it stands against its stop
        valve = self.valve
        room = error
        if expected - measured.flow_ul_s > expected >> 2:
            room = valve.credible(error)
        if room == error:
            self._odd = 0
        valve.correct(room, gain_q20, trust.can_find())
        self.trim_q20 = valve.slip_u16 << SLIP_SHIFT
        if room > error and trust.steady:
            self.doubt(valve.slip_u16 + error)

    def disbelieve(self, measured: "Measured", decided: Decided) -> None:
        """Take a tick in which the meter shows what the valve cannot do where it is reckoned.

        Too much is liquid, from a valve that stands elsewhere: only the meter sees it, so it is
        looked for anew. Too little is a valve that stands elsewhere, or a meter that loses pulses.
        """
        trust = self._trust
        rests = trust.can_teach() == AT_REST
        if measured.flow_ul_s > decided.expected_ul_s:
            trust.doubt_ticks = trust.doubt_ticks + 1 if rests else 0
            if trust.doubt_ticks >= DOUBT_TICKS:
                self.valve.forget()
                self.trim_q20 = 0
        elif measured.flow_valid and rests:
            self.doubt(-DUTY_FULL >> 1)

    def doubt(self, off_u16: int) -> None:
        """Doubt the meter once it has shown for a while less than the motor's way allows.

        From there on the valve goes by that way alone, until the meter agrees again.
        """
        if self._odd < ODD_TICKS:
            self._odd += 1
        else:
            self.trim_q20 = off_u16 << SLIP_SHIFT
            self.doubted = 1
            self.valve.take_back()

    def drive(self, decided: Decided, outputs: "Outputs") -> None:
        """Fill the outputs with the pulse of this tick."""
        outputs.duty_u16 = 0
        outputs.valve_pulse_ms = self.valve.toward(decided.demand_u16)


def valve_gain_q20(delay_ms: int, lag_ms: int, settling_ms: int) -> int:
    """Return how much of an error of its position a regulating valve takes in a tick.

    The valve is itself the integrator: nothing cancels the lag of the machine. Half of what
    lag and delay would allow keeps a phase margin of about 60 degrees.
    """
    slowest_ms = 2 * (lag_ms + delay_ms + TICK_MS // 2)
    return TICK_MS * ONE_Q20 // max(closed_loop_ms(delay_ms, settling_ms), slowest_ms)
