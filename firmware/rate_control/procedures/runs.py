"""Pulses counted over several runs of a known amount: the ground-speed course, the meter catch.

When is it enough? Two answers must both be within the wanted precision:

- Resolution. Between two marks the count is right to one pulse and the amount to the smallest
  step d that can be read. A mean run of N pulses and amount A is known to 1/N + d/A. Longer
  runs cure that, further runs do not.
- Scatter. What differs from run to run (marks set early or late, a jug held askew) shows in the
  range of the runs. The standard error of their mean is close to range / runs for 3 to 12 runs:
  N. Mantel, Rapid estimation of standard errors of means for small samples, The American
  Statistician 5 (1951) 26-27, cited from memory; the tests derive it. Further runs cure that.

All shares are in parts per million. Only step() belongs to the tick.
"""

from rate_control import settings as table
from rate_control.intmath import LIMIT, divide_rounded
from rate_control.procedures.procedure import COMPLETE, DONE, ENTER, MARK, TAKE_BACK, Procedure

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from rate_control.settings import Settings

MAX_RUNS = 12
ODD_RUN_PPM = 100000  # a run that far off the middle one is a slip, not scatter
ONE_PPM = 1000000


class CountedRuns(Procedure):
    """Base: counts pulses between marks and proposes pulses for an amount.

    setting = pulses x SCALE / amount. A subclass counts in step() and says which amount a run
    had; amount_quantity is what needs_more() asks for.
    """

    SETTING = ""
    SCALE = 1
    MIN_RUNS = 3
    PAIRS = 0  # 1: as many runs there as back

    def __init__(self, settings: "Settings", precision_permille: int, amount_quantity: str) -> None:
        Procedure.__init__(self)
        self._row = table.row(self.SETTING)
        self._precision_ppm = precision_permille * 1000
        self._amount_quantity = amount_quantity
        self._step = 0  # smallest readable step of an amount, in the unit of the amounts
        self._count = 0  # of all pulses since the start, wrapping; the tick writes, marks read
        self._begun: int | None = None  # the count at the first mark of a run
        self._waiting: "int | Any" = None  # pulses of a run whose amount has not been entered
        self._pulses: list[int] = []
        self._amounts: list[int] = []

    def accepts(self) -> tuple[str, ...]:
        """See Procedure."""
        if self._waiting is not None:
            return (ENTER, TAKE_BACK)
        if self._begun is not None:
            return (MARK, TAKE_BACK)
        actions = (COMPLETE, TAKE_BACK) if self._pulses else ()
        return actions if len(self._pulses) == MAX_RUNS else (MARK,) + actions

    def _mark(self) -> str:
        if self._begun is None:
            self._begin()
            self._begun = self._count
            return ""
        pulses = (self._count - self._begun) & LIMIT
        self._begun = None
        problem = self._run_problem(pulses)
        return problem if problem else self._ended(pulses)

    def _begin(self) -> None:
        """Prepare for a run."""

    def _run_problem(self, pulses: int) -> str:
        """Return why a run that just ended is of no use, or an empty text."""
        return "" if pulses else "no pulses: check sensor and cable"

    def _ended(self, pulses: int) -> str:
        """Take a run that just ended."""
        self._waiting = pulses
        return ""

    def _add(self, pulses: int, amount: int) -> str:
        """Add a complete run; return "" or why it is nonsense."""
        value = divide_rounded(pulses * self.SCALE, amount)
        if not self._row[table.LOW] <= value <= self._row[table.HIGH]:
            return "makes no sense: check amount and sensor"
        self._pulses.append(pulses)
        self._amounts.append(amount)
        return ""

    def _take_back(self) -> str:
        if self._waiting is not None:
            self._waiting = None
        elif self._begun is not None:
            self._begun = None
        else:
            self._pulses.pop()
            self._amounts.pop()
        return ""

    def result(self) -> int:
        """Return the setting that all runs together give; there must be one."""
        return divide_rounded(sum(self._pulses) * self.SCALE, sum(self._amounts))

    def deviations_ppm(self) -> list[int]:
        """Return how far each run is from that result."""
        pulses = sum(self._pulses)
        amount = sum(self._amounts)
        return [divide_rounded(ONE_PPM * (run * amount - own * pulses), own * pulses)
                for run, own in zip(self._pulses, self._amounts)]

    def resolution_ppm(self) -> int:
        """Return 1/N + d/A of the mean run."""
        runs = len(self._pulses)
        return (divide_rounded(ONE_PPM * runs, sum(self._pulses))
                + divide_rounded(ONE_PPM * runs * self._step, sum(self._amounts)))

    def needs_more(self) -> tuple[str, int, str] | None:
        """See Procedure."""
        runs = len(self._pulses)
        if runs:
            missing = self._longer_runs() or self._odd_run()
            if missing:
                return missing
        wanted = max(self.MIN_RUNS, self._runs_for_scatter())
        if self.PAIRS:
            wanted += wanted % 2
            wanted = max(wanted, runs + runs % 2)
        if wanted > MAX_RUNS:
            return "start again, the runs differ by", self._range_ppm(), "share_ppm"
        return ("more runs needed:", wanted - runs, "") if runs < wanted else None

    def _longer_runs(self) -> tuple[str, int, str] | None:
        """Return what to say where the runs are too short, or None.

        With k pulses for one unit of amount, 1/N + d/A = (1/k + d) / A is within the precision
        from A = (1/k + d) / precision on.
        """
        pulses = sum(self._pulses)
        amount = sum(self._amounts)
        needed = -(-(amount + self._step * pulses) * ONE_PPM // (pulses * self._precision_ppm))
        if amount >= needed * len(self._amounts):
            return None
        return "runs too short; each must be at least", self._shown(needed), self._amount_quantity

    def _shown(self, amount: int) -> int:
        """Return an amount in the unit of amount_quantity."""
        return amount

    def _odd_run(self) -> tuple[str, int, str] | None:
        """Return what to say where one run is far off the others, or None."""
        deviations = self.deviations_ppm()
        if len(deviations) < 3:
            return None
        middle = sorted(deviations)[len(deviations) // 2]
        for index, deviation in enumerate(deviations):
            if abs(deviation - middle) > ODD_RUN_PPM:
                return "take back as far as the odd run:", index + 1, ""
        return None

    def _range_ppm(self) -> int:
        deviations = self.deviations_ppm()
        return max(deviations) - min(deviations) if deviations else 0

    def _runs_for_scatter(self) -> int:
        """Return how many runs bring range / runs within the precision."""
        return -(-self._range_ppm() // self._precision_ppm)

    def proposal(self) -> dict:
        """See Procedure."""
        return {self.SETTING: self.result()} if self.state == DONE else {}

    def facts(self) -> list[tuple]:
        """See Procedure: each run off the mean, highest to lowest, standard error, 1/N + d/A."""
        runs = len(self._pulses)
        facts = [("runs", runs, ""), ("pulses", sum(self._pulses), "")]
        if not runs:
            return facts
        for index, deviation in enumerate(self.deviations_ppm()):
            facts.append(("run %d" % (index + 1), deviation, "share_ppm"))
        range_ppm = self._range_ppm()
        facts.append(("spread", range_ppm, "share_ppm"))
        facts.append(("scatter", range_ppm // runs, "share_ppm"))
        facts.append(("resolution", self.resolution_ppm(), "share_ppm"))
        return facts
