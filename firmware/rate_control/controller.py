"""The controller: one step a tick, its stages in reading order.

sense -> permit -> decide -> run the procedure -> actuate -> account. Each stage reads the records
of the stages before it and fills its own (see records.py).
"""

from rate_control import last_gate, trace
from rate_control.application_rate import target_flow_ul_s
from rate_control.debounce import make_debounce
from rate_control.faults import PROGRAM_FAILED, Faults
from rate_control.flow_loop import make_loop
from rate_control.flow_rate import FlowRate
from rate_control.ground_speed import GroundSpeed
from rate_control.interlock import BENCH, OFF_TICKS_MIN, PRIMING, SECTIONS_ON, Interlock
from rate_control.intmath import LIMIT
from rate_control.permits import collect
from rate_control.plausibility import Plausibility
from rate_control.procedures import RUNNING
from rate_control.pump_curve import PumpCurve
from rate_control.records import Decided, Measured, Outputs, Request
from rate_control.section import Sections
from rate_control.totals import Totals
from rate_control.units import DUTY_FULL, SWITCH_MASTER, TICK_MS, TICK_US

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.procedures.procedure import Procedure
    from rate_control.records import Inputs
    from rate_control.settings import Settings

TICK_LATE_US = 3 * TICK_US  # the watchdog of a real board bites in the same order of time


class Controller:
    """The whole core. Make it with checked settings, then call step() once a tick."""

    def __init__(self, settings: "Settings") -> None:
        self.request = Request()
        self.measured = Measured()
        self.decided = Decided()
        self.outputs = Outputs()
        self.totals = Totals()
        self.trace = [0] * len(trace.FIELDS)
        self.interlock = Interlock()
        self.procedure: "Procedure | None" = None  # begun between ticks, by storing it here
        self._last_us: int | None = None
        self._bench_ticks = 0
        self._build(settings)

    def _build(self, settings: "Settings") -> None:
        """Make the stages that depend on the settings."""
        self.settings = settings
        self.request.rate_ml_ha = settings.rate_ml_ha
        self.sections = Sections(settings)
        self.curve = PumpCurve(settings)
        self.loop = make_loop(settings, self.curve)
        self._debounce = make_debounce(settings)
        self.interlock.off_ticks = max(settings.switch_debounce_ms // TICK_MS, OFF_TICKS_MIN)
        self._speed = GroundSpeed(settings)
        self._flow = FlowRate(settings)
        self._plausibility = Plausibility(settings)
        self._faults = Faults(settings)
        self._bench_limit_ticks = settings.bench_timeout_s * 1000 // TICK_MS

    def apply(self, settings: "Settings") -> int:
        """Take new, checked settings between ticks; return whether they were taken.

        They are refused while outputs may be on. Afterwards the master switch must be seen off,
        then on. A tick that falls between finds the outputs off, whichever parts it meets.
        """
        if self.interlock.outputs_on():
            return False
        self.interlock.lock()
        faults = self._faults
        self._build(settings)
        self._faults.take_over(faults)
        return True

    def step(self, inputs: "Inputs", now_us: int) -> Outputs:
        """Run one tick and return the outputs to drive until the next.

        inputs is what the board saw, now_us the time, wrapping at 2**30. Nothing is allocated.
        """
        measured = self.measured
        decided = self.decided
        tick_ok = self._sense(inputs, now_us, measured)
        self._permit(tick_ok, measured, decided)
        self._decide(measured, decided)
        if self.procedure is not None:
            self._run_procedure(measured, decided)
        self._actuate(measured, decided)
        self._account(now_us, measured, decided)
        return self.outputs

    def _sense(self, inputs: "Inputs", now_us: int, measured: Measured) -> int:
        """Estimate speed and flow, debounce the switches; return whether the tick is in time."""
        switches = measured.switches = self._debounce.update(inputs.switches)
        measured.contacts = inputs.switches
        measured.sections_on = self.sections.switched_on(switches) & ~self.request.hold_mask
        measured.supply_mv = inputs.supply_mv
        self._speed.update(inputs, now_us, measured)
        self._flow.update(inputs, now_us, measured)
        last_us = self._last_us
        self._last_us = now_us
        return last_us is None or 0 < (now_us - last_us) & LIMIT <= TICK_LATE_US

    def _permit(self, tick_ok: int, measured: Measured, decided: Decided) -> None:
        """Let the interlock choose the state from the permits of this tick."""
        request = self.request
        conditions = self._plausibility.conditions(measured, decided, tick_ok)
        if request.program_failed:
            conditions |= PROGRAM_FAILED
        level = measured.contacts & SWITCH_MASTER
        active = self._faults.update(conditions, measured.switches & SWITCH_MASTER, level)
        decided.faults = active
        bench_asked = request.bench and self._bench_ticks < self._bench_limit_ticks
        permits = collect(measured, active, tick_ok, bench_asked, request)
        was_bench = decided.state == BENCH
        decided.permits = self.interlock.update(permits, level)
        decided.state = self.interlock.state
        if was_bench or request.bench:
            self._follow_bench(was_bench)

    def _follow_bench(self, was_bench: int) -> None:
        """Time the bench, zero its values at every entry and withdraw the request at its end."""
        if self.decided.state != BENCH:
            self.request.bench = 0
            self._bench_ticks = 0
            return
        self._bench_ticks += 1
        if not was_bench:
            self.request.bench_speed_mm_s = 0
            self.request.fixed_duty_u16 = 0

    def _decide(self, measured: Measured, decided: Decided) -> None:
        """Choose sections, target flow and commanded flow."""
        request = self.request
        state = decided.state
        if not SECTIONS_ON >> state & 1:
            decided.rest(Decided.BY_PRIMING if state == PRIMING else Decided.BY_LOOP)
            self.loop.rest()
            return
        procedure = self.procedure
        mask = measured.sections_on
        source = Decided.BY_HAND if request.regulation == Request.FIXED_DUTY else Decided.BY_LOOP
        if procedure is not None and procedure.state == RUNNING:
            mask &= procedure.section_mask
            if procedure.NEEDS_BENCH:
                source = Decided.BY_PROCEDURE
        decided.source = source
        if mask != decided.section_mask:
            decided.section_mask = mask
            decided.width_mm = self.sections.width_mm(mask)
        speed = request.bench_speed_mm_s if state == BENCH else measured.speed_ahead_mm_s
        rate = decided.rate_ml_ha = request.rate_ml_ha
        decided.target_ul_s = target_flow_ul_s(rate, speed, decided.width_mm)
        self.loop.update(measured, decided)

    def _run_procedure(self, measured: Measured, decided: Decided) -> None:
        """Let a running procedure take its tick; one that drives lives on the bench alone."""
        procedure = self.procedure
        running = procedure.state == RUNNING
        if running and procedure.NEEDS_BENCH and decided.state != BENCH:
            procedure.stop()
        elif running:
            procedure.step(measured, decided)

    def _actuate(self, measured: Measured, decided: Decided) -> None:
        """Turn the commanded flow into a demand and pass it through the last gate."""
        command = decided.command_ul_s
        source = decided.source
        if source == Decided.BY_LOOP:
            curve = self.curve
            curve.follow(decided.target_ul_s, command)
            demand = curve.demand_u16(command, decided.width_mm, measured.supply_mv)
        elif source == Decided.BY_HAND:
            demand = self.request.fixed_duty_u16
        elif source == Decided.BY_PRIMING:
            demand = self.request.prime_u16
        else:
            demand = self.procedure.duty_u16
        decided.demand_u16 = demand
        decided.saturated = 0
        if command and demand >= DUTY_FULL:
            decided.saturated = 1
        elif command and demand == 0:
            decided.saturated = -1
        last_gate.gate(self.loop, decided, self.outputs)

    def _account(self, now_us: int, measured: Measured, decided: Decided) -> None:
        """Add the tick to the totals and write its trace line."""
        if decided.state == BENCH:
            self.totals.bench_volume.add(measured.volume_ul)
        else:
            if measured.flow_noise:
                measured.volume_ul = 0
            self.totals.add(measured.volume_ul, measured.distance_mm,
                            decided.section_mask, self.sections.widths_mm, decided.width_mm)
        trace.fill(self.trace, now_us, measured, decided, self.loop, self.outputs)
