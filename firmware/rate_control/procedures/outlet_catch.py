"""Outlet catch: what each outlet gives in the same time, and which of them are worn or blocked.

Two published rules are applied:

- 5 % of the mean: each outlet within 5 % of the average of the boom. Alberta Agriculture,
  Agdex 606-1; University of Idaho calibration worksheet.
- 10 % of nominal: an outlet more than 10 % from a new one is replaced. USGA, The 10-Percent
  Rule (2016),
  https://www.usga.org/content/usga/home-page/course-care/regional-updates/central-region/the-10-percent-rule.html
  and each within 10 % of the maker's nominal at working pressure: Czech Decree 207/2012 Coll.,
  7.9.2.

The coefficient of variation is that of all outlets, 100 s / mean with s from n - 1, as in
ISO 5682-3, clause 6. An outlet more than 10 % off the middle one is left out of the mean that
the 5 % rule uses: in it, two worn outlets would make a short boom look blocked. What is left in
shifts the mean by less than 5 % as long as more than half of the outlets are sound.
"""

from rate_control.intmath import LIMIT, divide_rounded, isqrt
from rate_control.procedures.procedure import COMPLETE, ENTER, TAKE_BACK, Procedure

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

CATCH_MAX_UL = 100000000
USUAL_UL = 500000
RULE_MEAN_PPM = 50000
RULE_NOMINAL_PPM = 100000
ODD_PPM = 100000
ONE_PPM = 1000000
CV_STEP_PPM = 100  # deviations are squared in hundredths of a percent
GOOD, WORN, BLOCKED = "good", "worn", "blocked"


class OutletCatch(Procedure):
    """Proposes nothing: it names the outlets to clean or replace."""

    NAME = "outlet_catch"

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        """params: outlets, time_ms of the catch, rated_ul_s of one outlet (0: unknown),
        jug_step_ul.
        """
        Procedure.__init__(self)
        self._outlets = params["outlets"]
        self._nominal_ul = params["rated_ul_s"] * params["time_ms"] // 1000
        self._time_ms = params["time_ms"]
        self._step_ul = params["jug_step_ul"]
        self._caught_ul: list[int] = []

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """See Procedure: jugs do the measuring."""

    def accepts(self) -> tuple[str, ...]:
        """See Procedure."""
        caught = len(self._caught_ul)
        if not caught:
            return (ENTER,)
        return (COMPLETE, TAKE_BACK) if caught == self._outlets else (ENTER, TAKE_BACK)

    def prompt(self) -> str:
        """See Procedure."""
        if len(self._caught_ul) == self._outlets:
            return "all outlets entered"
        return "enter what the next outlet gave"

    def entry(self) -> tuple[str, str, int, int] | None:
        """See Procedure."""
        caught = len(self._caught_ul)
        if caught == self._outlets:
            return None
        return "outlet %d" % (caught + 1), "catch_ul", 0, CATCH_MAX_UL

    def suggestion(self) -> int:
        """See Procedure: the outlet before, or a new one."""
        return self._caught_ul[-1] if self._caught_ul else self._nominal_ul or USUAL_UL

    def _enter(self, value: int) -> str:
        self._caught_ul.append(value)
        return ""

    def _take_back(self) -> str:
        self._caught_ul.pop()
        return ""

    def needs_more(self) -> tuple[str, int, str] | None:
        """See Procedure: a fifth of the 5 % must be readable, d/A <= 1 %."""
        missing = self._outlets - len(self._caught_ul)
        if missing:
            return "outlets to enter:", missing, ""
        mean = mean_ul(self._caught_ul)
        if not mean:
            return "nothing caught: is the liquid on?", 0, ""
        wanted_ul = 100 * self._step_ul
        if mean >= wanted_ul:
            return None
        return "too little; catch for", self._time_ms * wanted_ul // mean + 1, "time_ms"

    def verdicts(self) -> list[tuple[str, int, int | None]]:
        """Return (word, off the mean in ppm, off nominal in ppm or None) of each outlet."""
        mean = mean_ul(alike(self._caught_ul))
        return [verdict(caught, mean, self._nominal_ul) for caught in self._caught_ul]

    def facts(self) -> list[tuple]:
        """See Procedure: each outlet with its verdict, off the mean and off a new one."""
        caught = self._caught_ul
        mean = mean_ul(caught)
        sound = alike(caught)
        if not sound:
            return [("outlets", len(caught), "")]
        facts = [("mean", mean, "catch_ul"),
                 ("CV", cv_ppm(caught, mean), "share_ppm"),
                 ("left out", len(caught) - len(sound), ""),
                 ("rule", "5 % of the mean: Agdex 606-1", "words")]
        if self._nominal_ul:
            facts += [("nominal", self._nominal_ul, "catch_ul"),
                      ("rule", "10 % of nominal: USGA 2016", "words")]
        for index, (word, of_mean, of_nominal) in enumerate(self.verdicts()):
            name = "#%d " % (index + 1)
            facts.append((name + word, of_mean, "share_ppm"))
            if of_nominal is not None:
                facts.append((name + "vs new", of_nominal, "share_ppm"))
        return facts


def alike(caught_ul: list[int]) -> list[int]:
    """Return the catches within ODD_PPM of the middle one of those that gave anything."""
    flowing = sorted([caught for caught in caught_ul if caught])
    if not flowing:
        return []
    middle = flowing[len(flowing) // 2]
    return [caught for caught in caught_ul
            if ONE_PPM * abs(caught - middle) <= ODD_PPM * middle]


def mean_ul(caught_ul: list[int]) -> int:
    """Return the mean, 0 of nothing."""
    return divide_rounded(sum(caught_ul), len(caught_ul)) if caught_ul else 0


def cv_ppm(caught_ul: list[int], mean: int) -> int:
    """Return the coefficient of variation about their mean; 0 for fewer than two."""
    if len(caught_ul) < 2:
        return 0
    squares = 0
    for caught in caught_ul:
        squares += (off_ppm(caught, mean) // CV_STEP_PPM) ** 2
    return isqrt(min(divide_rounded(squares, len(caught_ul) - 1), LIMIT)) * CV_STEP_PPM


def verdict(caught_ul: int, mean: int, nominal_ul: int) -> tuple[str, int, int | None]:
    """Return (word, off the mean in ppm, off nominal in ppm or None) for one catch."""
    of_mean = off_ppm(caught_ul, mean)
    of_nominal = off_ppm(caught_ul, nominal_ul) if nominal_ul else None
    word = GOOD
    if of_mean > RULE_MEAN_PPM or (of_nominal or 0) > RULE_NOMINAL_PPM:
        word = WORN
    if of_mean < -RULE_MEAN_PPM or (of_nominal or 0) < -RULE_NOMINAL_PPM:
        word = BLOCKED
    return word, of_mean, of_nominal


def off_ppm(value: int, reference: int) -> int:
    """Return how far a value is off a reference (above 0), in parts per million."""
    return divide_rounded(ONE_PPM * (value - reference), reference)
