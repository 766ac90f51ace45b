"""Flow-meter catch: pulses counted while a known volume, or a weighed mass, is caught.

The bench runs the liquid: sections chosen by their switches, a bench speed or a fixed duty by
hand. Marks are set with the liquid at rest, so nothing depends on the moment: every pulse
between them belongs to the jug. A meter that counts volume counts it for every liquid, so its
K-factor needs no correction for density; density only turns a weighed mass into a volume.

A meter whose droop is known lost the share (droop / flow)^2 of its pulses (see flow_rate.py);
the K-factor is that of the meter without this loss. The flow is the volume of the runs over the
time from the first pulse to the last.
"""

from rate_control.interlock import APPLYING
from rate_control.intmath import wrapped_add
from rate_control.procedures.runs import CountedRuns
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

VOLUME_MAX_UL = 1000000000
MASS_MAX_G = 1000000
UL_PER_L = 1000000
USUAL_UL = 2000000


class MeterCatch(CountedRuns):
    """Proposes meter_pulses_hl. A run is a mark, the liquid, a mark, and what was caught."""

    NAME = "meter_catch"
    SETTING = "meter_pulses_hl"
    SCALE = 100000000  # uL in 100 L

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        """params: weighed (0 or 1), density_g_l, jug_step_ul, scale_step_g,
        precision_permille.
        """
        self._weighed = params["weighed"]
        self._density_g_l = params["density_g_l"]
        quantity = "mass_g" if self._weighed else "catch_ul"
        CountedRuns.__init__(self, settings, params["precision_permille"], quantity)
        self._step = self._to_ul(params["scale_step_g" if self._weighed else "jug_step_ul"])
        self._droop_ul_s = settings.meter_droop_ul_s
        self._spilt = 0  # 1: the machine was at work during the run
        self._ticks = 0  # since the run began
        self._first = 0  # tick of its first pulse, and of its last
        self._last = 0
        self._run_ticks: list[int] = []

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """See Procedure."""
        self._count = wrapped_add(self._count, measured.flow_pulses)
        self._ticks = wrapped_add(self._ticks, 1)
        if measured.flow_pulses:
            self._last = self._ticks
            if not self._first:
                self._first = self._ticks
        if decided.state == APPLYING:
            self._spilt = 1

    def prompt(self) -> str:
        """See Procedure."""
        if self._waiting is not None:
            return "enter the mass" if self._weighed else "enter the volume"
        if self._begun is not None:
            return "bench on, fill, bench off; then mark"
        return "empty jug in place; liquid off; mark"

    def entry(self) -> tuple[str, str, int, int] | None:
        """See Procedure."""
        if self._waiting is None:
            return None
        if self._weighed:
            return "mass", self._amount_quantity, 1, MASS_MAX_G
        return "volume", self._amount_quantity, 1, VOLUME_MAX_UL

    def suggestion(self) -> int:
        """See Procedure: the amount of the run before."""
        return self._shown(self._amounts[-1] if self._amounts else USUAL_UL)

    def _begin(self) -> None:
        self._spilt = 0
        self._ticks = 0
        self._first = 0
        self._last = 0

    def _run_problem(self, pulses: int) -> str:
        if self._spilt:
            return "drove and applied: catch at standstill"
        return CountedRuns._run_problem(self, pulses)

    def _enter(self, value: int) -> str:
        problem = self._add(self._waiting, self._to_ul(value))
        if not problem:
            self._waiting = None
            self._run_ticks.append(self._last - self._first)
        return problem

    def _take_back(self) -> str:
        if self._waiting is None and self._begun is None:
            self._run_ticks.pop()
        return CountedRuns._take_back(self)

    def _to_ul(self, amount: int) -> int:
        """Return uL, or g of the known density, as uL."""
        return amount * UL_PER_L // self._density_g_l if self._weighed else amount

    def _shown(self, amount: int) -> int:
        return -(-amount * self._density_g_l // UL_PER_L) if self._weighed else amount

    def flow_ul_s(self) -> int:
        """Return the mean flow of all runs, 0 where it is not known.

        From the first of N pulses to the last, N - 1 parts of N of the volume pass.
        """
        ticks = sum(self._run_ticks)
        volume_ul = 0
        for pulses, amount in zip(self._pulses, self._amounts):
            volume_ul += amount * (pulses - 1) // pulses
        return volume_ul * 1000 // (TICK_MS * ticks) if ticks else 0

    def result(self) -> int:
        """See CountedRuns: without what the droop took."""
        counted = CountedRuns.result(self)
        flow = self.flow_ul_s()
        return undrooped(counted, self._droop_ul_s, flow) if flow else counted

    def facts(self) -> list[tuple]:
        """See Procedure."""
        facts = CountedRuns.facts(self)
        if self._pulses:
            if self.flow_ul_s():
                facts.append(("flow", self.flow_ul_s(), "flow_ul_s"))
            facts.append(("result", self.result(), "pulses_per_hl"))
        facts.append(("density correction", "none: a meter counts volume", "words"))
        return facts


def undrooped(pulses_hl: int, droop_ul_s: int, flow_ul_s: int) -> int:
    """Return the K-factor without the loss (droop / flow)^2, at most twice the counted one."""
    rest = flow_ul_s * flow_ul_s - droop_ul_s * droop_ul_s
    if 2 * rest <= flow_ul_s * flow_ul_s:
        return 2 * pulses_hl
    return pulses_hl * flow_ul_s * flow_ul_s // rest
