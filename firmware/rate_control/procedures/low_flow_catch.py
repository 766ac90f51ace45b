"""Low-flow catch: what the flow meter loses while its rotor slows down.

Bearing drag takes the share (droop / flow)^2 of the pulses of a turbine (see flow_rate.py). The
meter catch gave pulses per litre x at the flow Q; a second catch at a low flow q gives fewer, y.
Two equations, x = K (1 - (d/Q)^2) and y = K (1 - (d/q)^2), give both:

    K d^2 = (x - y) q^2 Q^2 / (Q^2 - q^2),  K = x + K d^2 / Q^2.

Where Q is not known it counts as large: then K = x.
"""

from rate_control.intmath import isqrt
from rate_control.procedures.meter_catch import MeterCatch
from rate_control.procedures.procedure import DONE
from rate_control.procedures.runs import ONE_PPM, CountedRuns
from rate_control.settings import HIGH, row

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings
    from rate_control.totals import Totals

LEAST_PPM = 300000  # fewer of the pulses, and the rotor is about to stop
ROOT_1000 = 31623  # of a million times a thousand


class LowFlowCatch(MeterCatch):
    """Proposes meter_droop_ul_s and meter_pulses_hl. Runs as in the meter catch, at low flow."""

    NAME = "low_flow_catch"

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        """params: those of MeterCatch, and flow_ul_s of the meter catch (0: not known)."""
        MeterCatch.__init__(self, settings, params, totals)
        self._high_ul_s = params["flow_ul_s"]
        self._high_pulses_hl = settings.meter_pulses_hl
        if self._high_ul_s > self._droop_ul_s:  # what the meter catch counted
            square = self._high_ul_s * self._high_ul_s
            self._high_pulses_hl -= settings.meter_pulses_hl * self._droop_ul_s ** 2 // square

    def prompt(self) -> str:
        """See Procedure."""
        if self._begun is not None:
            return "bench on, low flow, bench off; mark"
        return MeterCatch.prompt(self)

    def _run_problem(self, pulses: int) -> str:
        if pulses and self._last == self._first:
            return "too short to time"
        return MeterCatch._run_problem(self, pulses)

    def read_ppm(self) -> int:
        """Return the part of the pulses that came, of those at the high flow."""
        return CountedRuns.result(self) * ONE_PPM // self._high_pulses_hl

    def factor_and_droop(self) -> tuple[int, int]:
        """Return (K-factor, droop) from both catches; no droop where no pulse is missing."""
        low = CountedRuns.result(self)
        flow = self.flow_ul_s()
        lost = (self._high_pulses_hl - low) * flow * flow  # K d^2
        if lost <= 0:
            return self._high_pulses_hl, 0
        pulses_hl = self._high_pulses_hl
        if self._high_ul_s:
            square = self._high_ul_s * self._high_ul_s
            lost = lost * square // (square - flow * flow)
            pulses_hl += lost // square
        share_ppm = min(lost * ONE_PPM // (pulses_hl * flow * flow), ONE_PPM)
        droop = flow * isqrt(share_ppm * 1000) // ROOT_1000
        return pulses_hl, min(droop, row("meter_droop_ul_s")[HIGH])

    def needs_more(self) -> tuple[str, int, str] | None:
        """See Procedure."""
        if self._pulses:
            if self.read_ppm() < LEAST_PPM:
                return "start again with more flow than", self.flow_ul_s(), "flow_ul_s"
            if 0 < self._high_ul_s < 2 * self.flow_ul_s():
                return "start again with less flow than", self._high_ul_s // 2, "flow_ul_s"
        return MeterCatch.needs_more(self)

    def proposal(self) -> dict:
        """See Procedure."""
        if self.state != DONE:
            return {}
        pulses_hl, droop = self.factor_and_droop()
        return {"meter_pulses_hl": pulses_hl, "meter_droop_ul_s": droop}

    def facts(self) -> list[tuple]:
        """See Procedure."""
        facts = CountedRuns.facts(self)
        if self._pulses:
            facts += [("flow", self.flow_ul_s(), "flow_ul_s"),
                      ("pulses that came", self.read_ppm(), "share_ppm")]
            if self.needs_more() is None:
                facts.append(("droop", self.factor_and_droop()[1], "flow_ul_s"))
        return facts
