"""Ground-speed course: pulses counted over a measured distance, driven there and back.

A count between two marks over a known distance needs no steady speed and no clock. Driven both
ways, slope and wind cancel. Practice of the extension services: a course of at least 100 ft, on
the field surface, tank half full, both directions (Cornell University,
http://aben.cals.cornell.edu/extension/pestapp/publications/Calibration.boom.sprayer.combo1.html).
"""

from rate_control.intmath import divide_rounded, wrapped_add
from rate_control.procedures.runs import ONE_PPM, CountedRuns

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals


class Course(CountedRuns):
    """Proposes speed_pulses_km. A run is a mark at each end; two runs each way."""

    NAME = "course"
    SETTING = "speed_pulses_km"
    SCALE = 1000000  # mm in a kilometre
    MIN_RUNS = 4
    PAIRS = 1

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        """params: distance_mm between the stakes, precision_permille."""
        CountedRuns.__init__(self, settings, params["precision_permille"], "distance_mm")
        self._distance_mm = params["distance_mm"]

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """See Procedure."""
        self._count = wrapped_add(self._count, measured.speed_pulses)

    def prompt(self) -> str:
        """See Procedure."""
        if self._begun is not None:
            return "drive on; mark at the far stake"
        if len(self._pulses) % 2:
            return "drive back; mark at the stake"
        return "drive; mark at the first stake"

    def _ended(self, pulses: int) -> str:
        return self._add(pulses, self._distance_mm)

    def facts(self) -> list[tuple]:
        """See Procedure."""
        facts = CountedRuns.facts(self)
        if not self._pulses:
            return facts
        there = self._pulses[0::2]
        back = self._pulses[1::2]
        if back:
            facts.append(("back vs there", divide_rounded(
                ONE_PPM * (sum(back) * len(there) - sum(there) * len(back)),
                sum(there) * len(back)), "share_ppm"))
        facts.append(("result", self.result(), "pulses_per_km"))
        return facts
