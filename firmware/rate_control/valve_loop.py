"""The flow loop of a regulating valve, whose motor is driven towards a position.

The valve keeps its position by itself, so what a difference from the model teaches is where it
really stands: the reckoned position is put right, a part of the error in every tick.
"""

from rate_control.flow_loop import FlowLoop
from rate_control.intmath import muldiv
from rate_control.loop_gains import valve_gain_q20
from rate_control.records import Decided
from rate_control.units import FLOW_MAX_UL_S, ONE_Q12
from rate_control.valve_drive import ValveDrive

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pump_curve import PumpCurve
    from rate_control.records import Measured, Outputs
    from rate_control.settings import Settings


class ValveLoop(FlowLoop):
    """Target flow and measured flow in, commanded flow and motor pulses out."""

    NEEDS_REST = 1

    def __init__(self, settings: "Settings", curve: "PumpCurve") -> None:
        super().__init__(settings)
        self.valve = ValveDrive(settings)
        self._curve = curve
        self._delay_ms = settings.loop_delay_ms
        self._settling_ms = settings.settling_time_ms
        self._ki_q20 = 0  # for the present width

    @property
    def position_u16(self) -> int:
        """The reckoned position, 0 no flow to DUTY_FULL."""
        return self.valve.position_u16

    def update(self, measured: "Measured", decided: Decided) -> None:
        """Fill expected_ul_s, coasting, trim_q20 and command_ul_s of decided for this tick."""
        learning = decided.source != Decided.BY_PROCEDURE  # which may be learning the very curve
        trust = self._trust
        if learning and trust.can_find():
            self.observe(measured, decided)
        reference = self.reference_ul_s(decided)
        correction = 0
        if self.compare(reference, measured, decided):
            error = decided.expected_ul_s - measured.flow_ul_s
            correction = muldiv(error, self._kp_q12, ONE_Q12)
            if learning:
                self.learn(reference, measured, decided)
        if learning and trust.is_lost(self.believed or self.doubted or not measured.flow_valid):
            self.valve.forget()  # only the meter sees the valve: look for it anew
        if learning and not decided.coasting:
            self.valve.start.look(measured.flow_ul_s, decided.target_ul_s, trust.can_find())
        decided.trim_q20 = self.trim_q20
        target = decided.target_ul_s
        command = target + correction if target else 0
        if command > FLOW_MAX_UL_S:
            command = FLOW_MAX_UL_S
        decided.command_ul_s = command if command > 0 else 0

    def take_width(self, width_mm: int) -> None:
        """Take another open width."""
        super().take_width(width_mm)
        self._ki_q20 = valve_gain_q20(self._delay_ms, self._model.lag_ms, self._settling_ms)

    def reference_ul_s(self, decided: Decided) -> int:
        """Return the flow that belongs to the reckoned position."""
        return self._curve.flow_ul_s(self.valve.position_u16, decided.width_mm)

    def observe(self, measured: "Measured", decided: Decided) -> None:
        """Find a valve that was left open before power-up: the meter reads it at once."""
        if not self.valve.known and measured.flow_readable:
            self.valve.found(self._curve.demand_u16(measured.flow_ul_s, decided.width_mm, 0))

    def learn(self, reference_ul_s: int, measured: "Measured", decided: Decided) -> None:
        """Move the reckoned position towards where the measured flow says the valve is.

        The slower a turbine, the later it tells that a valve went too far: so less is taken
        below the middle flow.
        """
        gain_q20 = self._ki_q20
        middle = self._trust.middle_ul_s
        if reference_ul_s < middle:
            gain_q20 = muldiv(gain_q20, reference_ul_s, middle)
        curve = self._curve
        found = curve.demand_u16(measured.flow_ul_s, decided.width_mm, 0)
        thought = curve.demand_u16(decided.expected_ul_s, decided.width_mm, 0)
        self.valve.correct(found - thought, gain_q20)

    def drive(self, decided: Decided, outputs: "Outputs") -> None:
        """Fill the outputs with the pulse of this tick."""
        outputs.duty_u16 = 0
        outputs.valve_pulse_ms = self.valve.toward(decided.demand_u16)
