"""The 1/128-acre method and its metric twin: a plot so large that the catch is the rate.

One US gallon is 128 fl oz. Drive a course that makes 1/128 acre with the width of one outlet,
then catch one outlet for the time the course took: fluid ounces are gallons an acre. "One
ounce/340 ft2 = 1 GPA": LSU AgCenter; distances by width: Ohio State University Extension,
Bulletin 817, http://ohioline.osu.edu/b817/b817_07.html . On 10 m2, a thousandth of a hectare,
millilitres are litres a hectare.

The rate follows from catch, distance and width alone; the time only has to be the same for
driving and for catching, and the controller keeps it. A catch that lasts several course times
makes small amounts readable.
"""

from rate_control import density
from rate_control.intmath import LIMIT, divide_rounded, wrapped_add
from rate_control.procedures.procedure import COMPLETE, ENTER, MARK, TAKE_BACK, Procedure
from rate_control.units import RATE_MAX_ML_HA, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

OUNCE_PLOT_MM2 = 31616066  # 43560 ft2 / 128
METRIC_PLOT_MM2 = 10000000
ML_HA_PER_UL_MM2 = 10000000  # 1 ha = 1e10 mm2, 1 mL = 1000 uL
CATCH_MAX_UL = 100000000
MAX_CATCHES = 72
ONE_PPM = 1000000


def course_mm(width_mm: int, customary: int) -> int:
    """Return the distance that makes the plot with a width; customary: 1 for 1/128 acre."""
    return divide_rounded(OUNCE_PLOT_MM2 if customary else METRIC_PLOT_MM2, width_mm)


class PlotCatch(Procedure):
    """Proposes nothing: it says what rate the outlets give at the driven speed."""

    NAME = "plot_catch"

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        """params: width_mm of one outlet, customary (0 or 1), distance_mm (0: the method's),
        times (course times that a catch lasts), jug_step_ul, precision_permille.
        """
        Procedure.__init__(self)
        self._width_mm = params["width_mm"]
        self._distance_mm = (params["distance_mm"]
                             or course_mm(self._width_mm, params["customary"]))
        self._times = params["times"]
        self._step_ul = params["jug_step_ul"]
        self._precision_ppm = params["precision_permille"] * 1000
        self._target_ml_ha = settings.rate_ml_ha
        self._density_g_l = settings.liquid_density_g_l
        self._ticks = 0  # of the whole procedure: the tick counts, marks read
        self._begun: int | None = None
        self._courses_ticks: list[int] = []
        self._caught_ul: list[int] = []

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """See Procedure."""
        self._ticks = wrapped_add(self._ticks, 1)

    def accepts(self) -> tuple[str, ...]:
        """See Procedure."""
        if self._begun is not None:
            return (MARK, TAKE_BACK)
        if self._caught_ul:
            more = (ENTER,) if len(self._caught_ul) < MAX_CATCHES else ()
            return more + (COMPLETE, TAKE_BACK)
        return (ENTER, MARK, TAKE_BACK) if self._courses_ticks else (MARK, ENTER)

    def prompt(self) -> str:
        """See Procedure."""
        if self._begun is not None:
            return "steady speed; mark at the far stake"
        if self._courses_ticks or self._caught_ul:
            return "catch for the time shown; enter it"
        return "drive; mark at the first stake"

    def entry(self) -> tuple[str, str, int, int] | None:
        """See Procedure."""
        return "outlet %d" % (len(self._caught_ul) + 1), "catch_ul", 1, CATCH_MAX_UL

    def suggestion(self) -> int:
        """See Procedure: the catch before, or what the target rate gives."""
        if self._caught_ul:
            return self._caught_ul[-1]
        plots_mm2 = self._distance_mm * self._width_mm * self._times
        return min(self._target_ml_ha * plots_mm2 // ML_HA_PER_UL_MM2, CATCH_MAX_UL)

    def _mark(self) -> str:
        if self._begun is None:
            self._begun = self._ticks
            return ""
        ticks = (self._ticks - self._begun) & LIMIT
        self._begun = None
        if not ticks:
            return "no time passed between the marks"
        self._courses_ticks.append(ticks)
        return ""

    def _enter(self, value: int) -> str:
        self._caught_ul.append(value)
        return ""

    def _take_back(self) -> str:
        if self._begun is not None:
            self._begun = None
        elif self._caught_ul:
            self._caught_ul.pop()
        else:
            self._courses_ticks.pop()
        return ""

    def course_ms(self) -> int:
        """Return the mean time of the driven courses, 0 where none was driven."""
        if not self._courses_ticks:
            return 0
        return divide_rounded(TICK_MS * sum(self._courses_ticks), len(self._courses_ticks))

    def rate_ml_ha(self) -> int:
        """Return the rate that the mean catch stands for; at least one must be entered."""
        plots_mm2 = self._distance_mm * self._width_mm * self._times * len(self._caught_ul)
        return divide_rounded(sum(self._caught_ul) * ML_HA_PER_UL_MM2, plots_mm2)

    def needs_more(self) -> tuple[str, int, str] | None:
        """See Procedure: the step of the jug's scale, d/A, decides."""
        if not self._caught_ul:
            return "catches to enter:", 1, ""
        wanted_ul = -(-self._step_ul * ONE_PPM // self._precision_ppm)
        mean_ul = sum(self._caught_ul) // len(self._caught_ul)
        if mean_ul >= wanted_ul:
            return None
        times = -(-self._times * wanted_ul // max(mean_ul, 1))
        return "too little; catch this many times as long:", times, ""

    def facts(self) -> list[tuple]:
        """See Procedure."""
        facts = [("course", self._distance_mm, "distance_mm")]
        course_ms = self.course_ms()
        if course_ms:
            facts += [("course time", course_ms, "time_ms"),
                      ("catch for", course_ms * self._times, "time_ms"),
                      ("speed", self._distance_mm * 1000 // course_ms, "speed_mm_s")]
        if not self._caught_ul:
            return facts
        rate = self.rate_ml_ha()
        facts += [("catches", len(self._caught_ul), ""),
                  ("rate", rate, "rate_ml_ha"),
                  ("target", self._target_ml_ha, "rate_ml_ha"),
                  ("off target", divide_rounded(ONE_PPM * (rate - self._target_ml_ha),
                                               self._target_ml_ha), "share_ppm")]
        return facts + density_facts(min(rate, RATE_MAX_ML_HA), self._target_ml_ha,
                                     self._density_g_l)


def density_facts(rate_ml_ha: int, target_ml_ha: int, density_g_l: int) -> list[tuple]:
    """Return what a catch with water says about a liquid of another density, as facts."""
    if density_g_l == density.WATER_G_L:
        return []
    return [
        ("if water: liquid at this pressure",
         density.liquid_rate_ml_ha(rate_ml_ha, density_g_l), "rate_ml_ha"),
        ("water to catch for the target",
         density.water_rate_ml_ha(target_ml_ha, density_g_l), "rate_ml_ha"),
        ("if the meter decides", "no correction", "words"),
    ]
