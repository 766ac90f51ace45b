"""Who drives the machine in the acceptance test: the controller, four baselines, two oracles.

All see the same sensors in the same ticks and pass the same interlock and last gate: each is
the firmware's controller with some of its stages replaced.
"""

from __future__ import annotations

from simple_pid import PID

from host_sim.plant.machine import Machine
from host_sim.trials.acceptance.dynamic_oracle import DynamicOracle
from host_sim.trials.acceptance.oracle import Oracle
from host_sim.twin.twin import Contender, the_controller
from rate_control.application_rate import target_flow_ul_s
from rate_control.controller import Controller
from rate_control.flow_loop import FlowLoop
from rate_control.intmath import clamp
from rate_control.loop_gains import simc_gains
from rate_control.pump_curve import PumpCurve
from rate_control.pump_loop import PumpLoop
from rate_control.records import Decided, Measured, Outputs, Request
from rate_control.section import Sections
from rate_control.settings import Settings, build
from rate_control.units import BYPASS_VALVE, DUTY_FULL, ONE_Q16, ONE_Q20, PWM_PUMP, TICK_MS
from rate_control.valve_loop import ValveLoop

START_MM_S = 2000
TICK_S = TICK_MS / 1000


def fixed_duty(settings: Settings, machine: Machine) -> Controller:
    """No regulation: the duty, or valve position, that suits the start condition."""
    controller = Controller(settings)
    width_mm = controller.sections.total_width_mm
    flow_ul_s = target_flow_ul_s(settings.rate_ml_ha, START_MM_S, width_mm)
    controller.request.regulation = Request.FIXED_DUTY
    controller.request.fixed_duty_u16 = controller.curve.demand_u16(flow_ul_s, width_mm, 0)
    return controller


class FeedbackAlone(Controller):
    """A PI controller from target flow and measured flow to the actuator; no feed-forward.

    Tuned by the same rule from the same step test as the controller's own loop.
    """

    def _settling_ms(self, settings: Settings) -> int:
        """The settling time that it is tuned for."""
        return settings.settling_time_ms

    def _build(self, settings: Settings) -> None:
        super()._build(settings)
        self.curve = Straight(settings)
        make = PidPump if settings.actuator == PWM_PUMP else PidValve
        self.loop = make(settings, self.curve, self._settling_ms(settings))


class QuickFeedback(FeedbackAlone):
    """The same with tauc = theta, which SIMC recommends for tight control.

    S. Skogestad, J. Process Control 13 (2003) 291-309, section 4: tauc = theta gives a fast
    response with good robustness. In this machine's words: no settling time is asked for, so that
    the rule ends at its least tauc.
    """

    def _settling_ms(self, settings: Settings) -> int:
        return 0


def pump_pid(settings: Settings, settling_ms: int) -> PID:
    """PI from flow to duty: SIMC, with the gain of the machine from its curve at half flow."""
    kp_q16, ki_q20 = simc_gains(settings.loop_delay_ms, settings.loop_lag_ms, settling_ms)
    slope = flow_per_demand(settings)
    return PID(kp_q16 / ONE_Q16 / slope, ki_q20 / ONE_Q20 / TICK_S / slope, sample_time=None,
               output_limits=(0, DUTY_FULL))


def valve_pid(settings: Settings, settling_ms: int) -> PID:
    """P from flow to motor drive, DUTY_FULL being all of the time.

    SIMC for k' e^(-theta s) / s: Kc = 1 / (k' (tauc + theta)), half of the lag counted as
    delay; the valve is itself the integrator. k' is the flow gained per second of full drive.
    """
    theta_ms = settings.loop_delay_ms + settings.loop_lag_ms / 2 + TICK_MS / 2
    tauc_ms = max((settling_ms - theta_ms) / 3, theta_ms)
    full_drive_ul_s_s = flow_per_demand(settings) * DUTY_FULL / (settings.valve_travel_ms / 1e3)
    return PID(DUTY_FULL * 1e3 / (full_drive_ul_s_s * (tauc_ms + theta_ms)), sample_time=None,
               output_limits=(-DUTY_FULL, DUTY_FULL))


def flow_per_demand(settings: Settings) -> float:
    """Slope of the pump curve at half of the highest flow."""
    flows, demands = settings.curve_flow_ul_s, settings.curve_duty_u16
    high = next(i for i, flow in enumerate(flows) if 2 * flow >= flows[-1])
    slope: float = (flows[high] - flows[high - 1]) / (demands[high] - demands[high - 1])
    return slope


class PidLoop(FlowLoop):
    """A library's PID in the place of a flow loop. Its integral stays over a headland."""

    _pid: PID
    _last = 0.0

    def rest(self) -> None:
        """Hold the integral while the machine is off."""
        self._pid.auto_mode = False

    def update(self, measured: Measured, decided: Decided) -> None:
        """Fill command_ul_s with the output, which Straight passes on as it is."""
        self._pid.set_auto_mode(True, last_output=self._last if self._pid.Ki else 0.0)
        self._pid.setpoint = decided.target_ul_s
        self._last = float(self._pid(measured.flow_ul_s, dt=TICK_S) or 0.0)
        decided.command_ul_s = round(self._last)


class Straight(PumpCurve):
    """In the place of the pump curve: the command is the demand."""

    def demand_u16(self, command: int, width_mm: int, supply_mv: int) -> int:
        return command


class PidPump(PidLoop, PumpLoop):
    """A pump whose duty the PID gives."""

    def __init__(self, settings: Settings, curve: PumpCurve, settling_ms: int) -> None:
        super().__init__(settings, curve)
        self._pid = pump_pid(settings, settling_ms)


class PidValve(PidLoop, ValveLoop):
    """A valve's motor that is given its time as it comes, saved up to the shortest pulse."""

    def __init__(self, settings: Settings, curve: PumpCurve, settling_ms: int) -> None:
        super().__init__(settings, curve)
        self._pid = valve_pid(settings, settling_ms)
        self._least_ms = min(settings.valve_min_pulse_ms, TICK_MS)
        self._towards_more = -1 if settings.actuator == BYPASS_VALVE else 1
        self._saved_ms = 0.0

    def drive(self, decided: Decided, outputs: Outputs) -> None:
        """Fill the outputs with a pulse when enough is saved up."""
        self._saved_ms += TICK_MS * decided.demand_u16 / DUTY_FULL
        pulse_ms = clamp(round(self._saved_ms), -TICK_MS, TICK_MS)
        if abs(pulse_ms) < self._least_ms:
            pulse_ms = 0
        self._saved_ms -= pulse_ms
        outputs.duty_u16 = 0
        outputs.valve_pulse_ms = pulse_ms * self._towards_more


class SectionsUnannounced(Controller):
    """The controller, but its feed-forward is not told of the sections.

    A change of sections comes to it only as fast as its own feedback could find it out: with
    the time constant of the closed loop. So it waits for no section valve either. In everything
    else it is the same.
    """

    def _build(self, settings: Settings) -> None:
        told, problems = build({"hold_lead_ms": [0, 0]}, settings)
        assert told is not None, problems
        super()._build(told)
        self.sections = SlowSections(settings)

    def _decide(self, measured: Measured, decided: Decided) -> None:
        decided.section_mask = NO_MASK  # so that the width is asked for in every tick
        super()._decide(measured, decided)


class SlowSections(Sections):
    """The open width as a feedback loop comes to know it: a first-order lag, a step a tick."""

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        theta_ms = settings.loop_delay_ms + TICK_MS / 2
        tauc_ms = max((settings.settling_time_ms - theta_ms) / 3, theta_ms)
        self._share = TICK_MS / (tauc_ms + theta_ms)
        self._known_mm = float(self.total_width_mm)

    def width_mm(self, mask: int) -> int:
        """The width that is known by now; called once in every tick that drives."""
        self._known_mm += self._share * (super().width_mm(mask) - self._known_mm)
        return round(self._known_mm)


NO_MASK = -1
THE_CONTROLLER, ORACLE, DYNAMIC_ORACLE = "controller", "oracle", "dynamic oracle"
SECTIONS_UNANNOUNCED = "sections unannounced"
CONTENDERS: dict[str, Contender] = {
    THE_CONTROLLER: the_controller,
    "fixed duty": fixed_duty,
    "feedback alone": lambda settings, machine: FeedbackAlone(settings),
    "feedback alone, quick": lambda settings, machine: QuickFeedback(settings),
    SECTIONS_UNANNOUNCED: lambda settings, machine: SectionsUnannounced(settings),
    ORACLE: Oracle,
    DYNAMIC_ORACLE: DynamicOracle,
}
BASELINES = tuple(
    name for name in CONTENDERS if name not in (THE_CONTROLLER, ORACLE, DYNAMIC_ORACLE))
