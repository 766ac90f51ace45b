"""Outlet catch: what each outlet gives in the same time, and which of them are worn or blocked.

Two published rules are applied:

- 5 % of the mean: each outlet within 5 % of the average of the boom. Alberta Agriculture,
  Agdex 606-1; University of Idaho calibration worksheet.
- 10 % of nominal: an outlet more than 10 % from a new one is replaced. USGA, The 10-Percent
  Rule (2016), https://www.usga.org/content/usga/home-page/course-care/regional-updates/
  central-region/the-10-percent-rule.html ; each within 10 % of the maker's nominal at working
  pressure: Czech Decree 207/2012 Coll., 7.9.2.

The coefficient of variation is 100 s / mean with s from n - 1, as in ISO 5682-3, clause 6.
An outlet that gives less than half of the middle one is blocked, and left out of the mean:
in it, one blocked outlet would make a short boom look worn.
"""

from rate_control.intmath import LIMIT, isqrt
from rate_control.procedures.keeping import ratio_rounded
from rate_control.procedures.procedure import COMPLETE, ENTER, TAKE_BACK, Procedure

CATCH_MAX_ML = 100000
RULE_MEAN_PPM = 50000
RULE_NOMINAL_PPM = 100000
ONE_PPM = 1000000
CV_STEP_PPM = 100  # deviations are squared in hundredths of a percent
GOOD, WORN, BLOCKED = "good", "worn", "blocked"


class OutletCatch(Procedure):
    """Proposes nothing: it names the outlets to clean or replace."""

    NAME = "outlet_catch"

    def __init__(self, settings, params, totals=None):
        """params: outlets, time_ms of the catch, nominal_flow_ul_s of one outlet (0: unknown),
        scale_step_ml of the jug.
        """
        Procedure.__init__(self)
        self._outlets = params["outlets"]
        self._nominal_ul = params["nominal_flow_ul_s"] * params["time_ms"] // 1000
        self._time_ms = params["time_ms"]
        self._step_ml = params["scale_step_ml"]
        self._caught_ml = []

    def step(self, measured, decided):
        """See Procedure: jugs do the measuring."""

    def accepts(self):
        """See Procedure."""
        caught = len(self._caught_ml)
        if not caught:
            return (ENTER,)
        return (TAKE_BACK, COMPLETE) if caught == self._outlets else (ENTER, TAKE_BACK)

    def prompt(self):
        """See Procedure."""
        if len(self._caught_ml) == self._outlets:
            return "all outlets entered"
        return "enter what the next outlet gave"

    def entry(self):
        """See Procedure."""
        caught = len(self._caught_ml)
        if caught == self._outlets:
            return None
        return "outlet %d" % (caught + 1), "catch_ml", 0, CATCH_MAX_ML

    def _enter(self, value):
        self._caught_ml.append(value)
        return ""

    def _take_back(self):
        self._caught_ml.pop()
        return ""

    def needs_more(self):
        """See Procedure: a fifth of the 5 % must be readable, d/A <= 1 %."""
        missing = self._outlets - len(self._caught_ml)
        if missing:
            return "outlets to enter:", missing, ""
        mean_ul = self.mean_ul()
        if not mean_ul:
            return "nothing caught: is the liquid on?", 0, ""
        wanted_ul = self._step_ml * 1000 * 100
        if mean_ul >= wanted_ul:
            return None
        return "too little; catch for", self._time_ms * wanted_ul // mean_ul + 1, "time_ms"

    def _is_blocked(self, caught_ml):
        middle = sorted(self._caught_ml)[len(self._caught_ml) // 2]
        return 2 * caught_ml < middle

    def _running_ml(self):
        """Return the catches of all outlets that are not blocked outright."""
        return [caught for caught in self._caught_ml if not self._is_blocked(caught)]

    def mean_ul(self):
        """Return the mean catch of the outlets that are not blocked outright."""
        running = self._running_ml()
        return ratio_rounded(1000 * sum(running), len(running)) if running else 0

    def cv_ppm(self):
        """Return the coefficient of variation of the same outlets; 0 for fewer than two."""
        running = self._running_ml()
        mean_ul = self.mean_ul()
        if len(running) < 2 or not mean_ul:
            return 0
        squares = 0
        for caught in running:
            squares += (off_ppm(1000 * caught, mean_ul) // CV_STEP_PPM) ** 2
        return isqrt(min(ratio_rounded(squares, len(running) - 1), LIMIT)) * CV_STEP_PPM

    def verdict(self, caught_ml):
        """Return (word, off the mean in ppm, off nominal in ppm or None) for one catch."""
        of_mean = off_ppm(1000 * caught_ml, self.mean_ul())
        of_nominal = off_ppm(1000 * caught_ml, self._nominal_ul) if self._nominal_ul else None
        word = GOOD
        if of_mean > RULE_MEAN_PPM or (of_nominal or 0) > RULE_NOMINAL_PPM:
            word = WORN
        if of_mean < -RULE_MEAN_PPM or (of_nominal or 0) < -RULE_NOMINAL_PPM:
            word = BLOCKED
        return word, of_mean, of_nominal

    def verdicts(self):
        """Return the verdict of each outlet, in order."""
        return [self.verdict(caught) for caught in self._caught_ml]

    def facts(self):
        """See Procedure."""
        if not self.mean_ul():
            return [("outlets", len(self._caught_ml), "")]
        facts = [("mean", ratio_rounded(self.mean_ul(), 1000), "catch_ml"),
                 ("coefficient of variation", self.cv_ppm(), "share_ppm"),
                 ("rule", "5 % of the mean: Agdex 606-1", "words")]
        if self._nominal_ul:
            facts.append(("nominal", ratio_rounded(self._nominal_ul, 1000), "catch_ml"))
            facts.append(("rule", "10 % of nominal: USGA 2016", "words"))
        for index, (word, of_mean, of_nominal) in enumerate(self.verdicts()):
            name = "outlet %d" % (index + 1)
            facts.append((name + ", " + word, of_mean, "share_ppm"))
            if of_nominal is not None:
                facts.append((name + ", off nominal", of_nominal, "share_ppm"))
        return facts


def off_ppm(value, reference):
    """Return how far a value is off a reference, in parts per million."""
    return ratio_rounded(ONE_PPM * (value - reference), reference)
