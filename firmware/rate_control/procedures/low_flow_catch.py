"""Low-flow catch: what the flow meter loses while its rotor slows down.

Bearing drag takes the share (droop / flow)^2 of the pulses of a turbine (see flow_rate.py). A
second catch at a low flow, after the meter catch at the working flow, measures it: the part r
of the pulses that came gives droop = flow x sqrt(1 - r). The flow is that of the runs: volume
caught over the time from the first pulse to the last.
"""

from rate_control.intmath import isqrt, wrapped_add
from rate_control.procedures.meter_catch import MeterCatch
from rate_control.procedures.procedure import DONE
from rate_control.procedures.runs import ONE_PPM
from rate_control.settings import HIGH, row
from rate_control.units import TICK_MS

UL_PER_HL = 100000000
LEAST_PPM = 300000  # fewer of the pulses, and the rotor is about to stop


class LowFlowCatch(MeterCatch):
    """Proposes meter_droop_ul_s. Runs as in the meter catch, at a low and steady flow."""

    NAME = "low_flow_catch"

    def __init__(self, settings, params, totals=None):
        """params: those of MeterCatch."""
        MeterCatch.__init__(self, settings, params, totals)
        self._pulses_hl = settings.meter_pulses_hl
        self._ticks = 0  # since the run began
        self._first = 0  # tick of its first pulse
        self._last = 0
        self._run_ticks = []

    def step(self, measured, decided):
        """See Procedure."""
        MeterCatch.step(self, measured, decided)
        self._ticks = wrapped_add(self._ticks, 1)
        if measured.flow_pulses:
            self._last = self._ticks
            if not self._first:
                self._first = self._ticks

    def prompt(self):
        """See Procedure."""
        if self._begun is not None:
            return "bench on, low flow, bench off; mark"
        return MeterCatch.prompt(self)

    def _begin(self):
        MeterCatch._begin(self)
        self._ticks = 0
        self._first = 0
        self._last = 0

    def _run_problem(self, pulses):
        if pulses and self._last == self._first:
            return "too short to time"
        return MeterCatch._run_problem(self, pulses)

    def _add(self, pulses, amount):
        problem = MeterCatch._add(self, pulses, amount)
        if not problem:
            self._run_ticks.append(self._last - self._first)
        return problem

    def _take_back(self):
        if self._waiting is None and self._begun is None:
            self._run_ticks.pop()
        return MeterCatch._take_back(self)

    def flow_ul_s(self):
        """Return the mean flow of all runs; there must be one.

        From the first of N pulses to the last, N - 1 parts of N of the volume pass.
        """
        volume_ul = 0
        for pulses, amount in zip(self._pulses, self._amounts):
            volume_ul += amount * (pulses - 1) // pulses
        return volume_ul * 1000 // (TICK_MS * sum(self._run_ticks))

    def read_ppm(self):
        """Return the part of the pulses that came."""
        return sum(self._pulses) * UL_PER_HL * ONE_PPM // (sum(self._amounts) * self._pulses_hl)

    def droop_ul_s(self):
        """Return flow x sqrt(1 - r), 0 where no pulse is missing."""
        missing_ppm = max(ONE_PPM - self.read_ppm(), 0)
        droop = self.flow_ul_s() * isqrt(missing_ppm) // 1000
        return min(droop, row("meter_droop_ul_s")[HIGH])

    def needs_more(self):
        """See Procedure."""
        if self._pulses and self.read_ppm() < LEAST_PPM:
            return "start again with more flow than", self.flow_ul_s(), "flow_ul_s"
        return MeterCatch.needs_more(self)

    def proposal(self):
        """See Procedure."""
        return {"meter_droop_ul_s": self.droop_ul_s()} if self.state == DONE else {}

    def facts(self):
        """See Procedure."""
        facts = [fact for fact in MeterCatch.facts(self) if fact[0] != "result"]
        if self._pulses:
            facts += [("flow", self.flow_ul_s(), "flow_ul_s"),
                      ("pulses that came", self.read_ppm(), "share_ppm"),
                      ("result", self.droop_ul_s(), "flow_ul_s")]
        return facts
