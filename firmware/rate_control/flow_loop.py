"""What both flow loops share: feed-forward first, feedback only on what it did not predict.

A model of the machine (predictor.py) says what the meter should read now. The loop works on the
difference between that and what the meter does read: on an error of the curve, a sagging battery,
a worn outlet, and not on the lag of the machine. pump_loop.py and valve_loop.py say what a
difference teaches about each kind of actuator, and how it is driven.
"""

from rate_control.flow_rate import liquid_most_ul_s
from rate_control.loop_gains import simc_gains
from rate_control.meter_trust import AT_REST, MeterTrust
from rate_control.predictor import Predictor
from rate_control.units import PWM_PUMP

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pump_curve import PumpCurve
    from rate_control.pump_loop import PumpLoop
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.valve_loop import ValveLoop


class FlowLoop:
    """Base of both loops; see their update() for the order of a tick.

    trim_q20 is how far the machine is off its curve, 0 where that is not what is learned.
    believed says whether the meter reads what a machine can do. No curve is wrong by half; a meter
    that says so may be stuck, and the liquid is real. What it shows too much is believed of a pump:
    a rotor that sticks never does that. A valve may stand where it is not thought to be.
    doubted says that a meter which agreed has lost a third at once, while nothing was asked of
    the machine: it misses pulses, or outlets are blocked. Either way more flow would be too much
    for those that work. What the meter shows beyond liquid_most_ul_s() cannot be liquid.
    """

    filled: int  # of the hoses: only a pump's loop looks
    NEEDS_REST = 0  # the meter teaches only while the flow is at rest

    def __init__(self, settings: "Settings") -> None:
        self.trim_q20 = 0
        self.believed = 0
        self.doubted = 0
        self._agreed_ul_s = 0  # what was expected when the meter last showed it
        self._reached_ml_ha = 0  # of the rate: what the machine has come to
        self._model = Predictor(settings)
        self._trust = MeterTrust(settings, self.NEEDS_REST)
        self._floor_ul_s = settings.meter_floor_ul_s
        kp_q16, self._simc_ki_q20 = simc_gains(
            settings.loop_delay_ms, settings.loop_lag_ms, settings.settling_time_ms)
        self._kp_q12 = kp_q16 >> 4
        self._liquid_most_ul_s = liquid_most_ul_s(settings)

    def rest(self) -> None:
        """Follow a machine that is off; what was learned stays."""
        if self._model.width_mm:
            self._reached_ml_ha = 0
            self._model.rest()
            self._trust.rest()

    def take_width(self, width_mm: int) -> None:
        """Take another open width."""
        model = self._model
        was_open = model.width_mm
        model.take_width(width_mm)
        if was_open:
            self._trust.shift(model.lag_ms)

    def compare(self, reference_ul_s: int, measured: "Measured", decided: "Decided") -> int:
        """Fill expected_ul_s and coasting; return what can_teach() says, 0 while coasting.

        reference_ul_s is the flow that the meter should show once the machine has followed.
        """
        model = self._model
        changed = decided.width_mm != model.width_mm
        if changed:
            self.take_width(decided.width_mm)
        flow = measured.flow_ul_s
        expected = model.step(reference_ul_s)
        decided.expected_ul_s = expected
        trust = self._trust
        trust.follow(changed or model.jumped, reference_ul_s, flow)
        most = expected + (expected >> 1) if self.NEEDS_REST else self._liquid_most_ul_s
        believed = measured.flow_valid and expected >> 1 <= flow <= most
        self.believed = believed
        teaches = reference_ul_s and trust.can_teach()
        if teaches == AT_REST:
            short = expected - flow
            near = expected >> 3
            if -near <= short <= near:
                self._agreed_ul_s = expected
                self.doubted = 0
            elif 3 * short > expected and -near <= expected - self._agreed_ul_s <= near:
                self.doubted = 1
        if reference_ul_s < self._floor_ul_s or not believed or self.doubted:
            decided.coasting = 1
            return 0
        decided.coasting = 0
        return teaches


def make_loop(settings: "Settings", curve: "PumpCurve") -> "PumpLoop | ValveLoop":
    """Return the flow loop for the actuator that is fitted; a board loads no other one."""
    if settings.actuator == PWM_PUMP:
        from rate_control.pump_loop import PumpLoop
        return PumpLoop(settings, curve)
    from rate_control.valve_loop import ValveLoop
    return ValveLoop(settings, curve)
