"""The controller: one step a tick, its stages in reading order.

sense -> permit -> decide -> measure -> actuate -> account. Each stage reads the records of the
stages before it and fills its own (see records.py).
"""

from rate_control import faults, trace
from rate_control import outputs as last_gate
from rate_control.actuator import make as make_actuator
from rate_control.application_rate import target_flow_ul_s
from rate_control.debounce import make_debounce
from rate_control.duty import PumpCurve
from rate_control.faults import Faults
from rate_control.flow_loop import FlowLoop
from rate_control.flow_rate import FlowRate
from rate_control.ground_speed import GroundSpeed
from rate_control.interlock import APPLYING, BENCH, Interlock
from rate_control.intmath import ticks_diff
from rate_control.permits import collect
from rate_control.plausibility import Plausibility
from rate_control.procedures import RUNNING
from rate_control.records import Decided, Measured, Outputs, Request
from rate_control.section import Sections
from rate_control.totals import Totals
from rate_control.units import DUTY_FULL, SWITCH_MASTER, TICK_MS, TICK_US

TICK_LATE_US = 3 * TICK_US  # the watchdog of a real board bites in the same order of time


class Controller:
    """The whole core. Make it with checked settings, then call step() once a tick."""

    def __init__(self, settings):
        self.request = Request()
        self.measured = Measured()
        self.decided = Decided()
        self.outputs = Outputs()
        self.totals = Totals()
        self.trace = [0] * len(trace.FIELDS)
        self.interlock = Interlock()
        self.procedure = None  # set by begin()
        self._last_us = None
        self._bench_ticks = 0
        self._build(settings)

    def _build(self, settings):
        """Make the stages that depend on the settings."""
        self.settings = settings
        self.request.rate_ml_ha = settings.rate_ml_ha
        self.sections = Sections(settings)
        self.curve = PumpCurve(settings)
        self.actuator = make_actuator(settings, self.curve)
        self.loop = FlowLoop(settings)
        self._debounce = make_debounce(settings)
        self._speed = GroundSpeed(settings)
        self._flow = FlowRate(settings)
        self._plausibility = Plausibility(settings)
        self._faults = Faults(settings)
        self._bench_limit_ticks = settings.bench_timeout_s * 1000 // TICK_MS

    def apply(self, settings):
        """Take new, checked settings between ticks; return whether they were taken.

        They are refused while outputs may be on. Afterwards the master switch must be seen off,
        then on. A tick that falls between finds the outputs off, whichever parts it meets.
        """
        if self.interlock.state == APPLYING or self.interlock.state == BENCH:
            return False
        self.interlock.lock()
        self._build(settings)
        return True

    def begin(self, procedure):
        """Take a procedure (procedures/procedure.py) between ticks and let it run."""
        self.procedure = procedure

    def step(self, inputs, now_us):
        """Run one tick and return the outputs to drive until the next.

        inputs is what the board saw, now_us the time, wrapping at 2**30. Nothing is allocated.
        """
        tick_ok = self._sense(inputs, now_us)
        self._permit(tick_ok)
        self._decide()
        self._measure()
        self._actuate()
        self._account(now_us)
        return self.outputs

    def _sense(self, inputs, now_us):
        """Estimate speed and flow, debounce the switches; return whether the tick is in time."""
        measured = self.measured
        measured.switches = self._debounce.update(inputs.switches)
        measured.supply_mv = inputs.supply_mv
        self._speed.update(inputs, now_us, measured)
        self._flow.update(inputs, now_us, measured)
        tick_ok = self._last_us is None or 0 < ticks_diff(now_us, self._last_us) <= TICK_LATE_US
        self._last_us = now_us
        return tick_ok

    def _permit(self, tick_ok):
        """Let the interlock choose the state from the permits of this tick."""
        decided = self.decided
        master_on = self.measured.switches & SWITCH_MASTER
        conditions = self._plausibility.conditions(self.measured, decided, tick_ok)
        if self.request.program_failed:
            conditions |= faults.PROGRAM_FAILED
        decided.faults = self._faults.update(conditions, master_on)
        bench_in_time = self._bench_ticks < self._bench_limit_ticks
        permits = collect(self.measured, self.request, self.sections, decided.faults, tick_ok,
                          bench_in_time)
        was_bench = self.interlock.state == BENCH
        decided.permits = self.interlock.update(permits)
        decided.state = self.interlock.state
        self._follow_bench(was_bench)

    def _follow_bench(self, was_bench):
        """Time the bench, zero its values at every entry and withdraw the request at its end."""
        if self.decided.state != BENCH:
            self.request.bench = 0
            self._bench_ticks = 0
            return
        self._bench_ticks += 1
        if not was_bench:
            self.request.bench_speed_mm_s = 0
            self.request.fixed_duty_u16 = 0

    def _decide(self):
        """Choose sections, target flow and commanded flow."""
        measured = self.measured
        decided = self.decided
        request = self.request
        if decided.state != APPLYING and decided.state != BENCH:
            decided.rest()
            self.loop.rest()
            return
        speed = request.bench_speed_mm_s if decided.state == BENCH else measured.speed_ahead_mm_s
        decided.section_mask = self.sections.switched_on(measured.switches)
        if self.procedure is not None and self.procedure.state == RUNNING:
            decided.section_mask &= self.procedure.section_mask
        decided.width_mm = self.sections.width_mm(decided.section_mask)
        decided.target_ul_s = target_flow_ul_s(request.rate_ml_ha, speed, decided.width_mm)
        decided.source = self._source()
        self.loop.update(self.actuator, measured, decided)

    def _source(self):
        """Return who gives the demand: a running procedure, a hand or the loop."""
        procedure = self.procedure
        if procedure is not None and procedure.NEEDS_BENCH and procedure.state == RUNNING:
            return Decided.BY_PROCEDURE
        return Decided.BY_HAND if self.request.regulation == Request.FIXED_DUTY else Decided.BY_LOOP

    def _measure(self):
        """Let a running procedure take its tick; one that drives lives on the bench alone."""
        procedure = self.procedure
        if procedure is None or procedure.state != RUNNING:
            return
        if procedure.NEEDS_BENCH and self.decided.state != BENCH:
            procedure.stop()
        else:
            procedure.step(self.measured, self.decided)

    def _actuate(self):
        """Turn the commanded flow into a demand and pass it through the last gate."""
        decided = self.decided
        if decided.source == Decided.BY_PROCEDURE:
            decided.demand_u16 = self.procedure.duty_u16
        elif decided.source == Decided.BY_HAND:
            decided.demand_u16 = self.request.fixed_duty_u16
        else:
            self.curve.want(decided.target_ul_s)
            decided.demand_u16 = self.curve.demand_u16(
                decided.command_ul_s, decided.width_mm, self.measured.supply_mv)
        decided.saturated = 0
        if decided.command_ul_s:
            if decided.demand_u16 >= DUTY_FULL:
                decided.saturated = 1
            elif decided.demand_u16 == 0:
                decided.saturated = -1
        last_gate.gate(self.actuator, decided, self.outputs)

    def _account(self, now_us):
        """Add the tick to the totals and write its trace line."""
        measured = self.measured
        decided = self.decided
        sections = self.sections
        if decided.state == BENCH:
            self.totals.bench_volume.add(measured.volume_ul)
        else:
            self.totals.add_volume(measured.volume_ul, decided.section_mask,
                                   sections.widths_mm, decided.width_mm)
        if decided.state == APPLYING:
            self.totals.add_ground(measured.distance_mm, TICK_MS, decided.section_mask,
                                   sections.widths_mm, decided.width_mm)
        trace.fill(self.trace, now_us, measured, decided, self.actuator, self.outputs)
