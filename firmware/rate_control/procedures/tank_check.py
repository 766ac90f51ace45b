"""Tank-to-tank check: litres by meter against litres by tank, over a whole job.

Fill to a mark with the machine level, clear the job totals, work, and measure what fills it to
the same mark again. The metered volume includes what the bench let out: it left the same tank.
The two readings at the mark are together good for one step d of the scale, the meter for one
pulse of N: the ratio is known to 1/N + d/V.
"""

from rate_control import settings as table
from rate_control.intmath import divide_rounded
from rate_control.procedures.procedure import (
    COMPLETE,
    DONE,
    ENTER,
    FAILED,
    TAKE_BACK,
    Procedure,
)

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

ONE_PPM = 1000000
ML_PER_HL = 100000
VOLUME_MAX_ML = 1000000000  # a thousand cubic metres
TOO_FAR = 2  # factor between the two beyond which one is wrong, and not the K-factor


class TankCheck(Procedure):
    """Proposes meter_pulses_hl = the present one x litres by meter / litres by tank."""

    NAME = "tank_check"

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        """params: meter_ml (0: the job totals), tank_step_ml, precision_permille."""
        Procedure.__init__(self)
        self._pulses_hl = settings.meter_pulses_hl
        self._row = table.row("meter_pulses_hl")
        self._meter_ml = params["meter_ml"]
        if totals is not None and not self._meter_ml:
            self._meter_ml = totals.volume.thousandths() + totals.bench_volume.thousandths()
        self._step_ml = params["tank_step_ml"]
        self._precision_ppm = params["precision_permille"] * 1000
        self._tank_ml = 0
        if not self._meter_ml:
            self.finish(FAILED, "nothing metered in this job yet")

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """See Procedure: all it needs is in the totals."""

    def accepts(self) -> tuple[str, ...]:
        """See Procedure."""
        return (COMPLETE, TAKE_BACK) if self._tank_ml else (ENTER,)

    def prompt(self) -> str:
        """See Procedure."""
        return "" if self._tank_ml else "refill to the mark; enter the volume"

    def entry(self) -> tuple[str, str, int, int] | None:
        """See Procedure."""
        return None if self._tank_ml else ("volume", "volume_ml", 1, VOLUME_MAX_ML)

    def suggestion(self) -> int:
        """See Procedure: the volume by meter."""
        return self._meter_ml

    def _enter(self, value: int) -> str:
        if not value <= TOO_FAR * self._meter_ml <= TOO_FAR * TOO_FAR * value:
            return "far from the metered volume: check it"
        if not self._row[table.LOW] <= self._result(value) <= self._row[table.HIGH]:
            return "makes no sense: check the volume"
        self._tank_ml = value
        return ""

    def _take_back(self) -> str:
        self._tank_ml = 0
        return ""

    def _result(self, tank_ml: int) -> int:
        return divide_rounded(self._pulses_hl * self._meter_ml, tank_ml)

    def resolution_ppm(self) -> int:
        """Return 1/N + d/V, 0 where nothing was metered."""
        if not self._meter_ml:
            return 0
        pulses = max(self._meter_ml * self._pulses_hl // ML_PER_HL, 1)
        return ONE_PPM // pulses + divide_rounded(ONE_PPM * self._step_ml, self._meter_ml)

    def needs_more(self) -> tuple[str, int, str] | None:
        """See Procedure."""
        resolution = self.resolution_ppm()
        if resolution <= self._precision_ppm:
            return None
        needed = self._meter_ml * resolution // self._precision_ppm + 1
        return "job too small; use at least", needed, "volume_ml"

    def proposal(self) -> dict:
        """See Procedure."""
        return {"meter_pulses_hl": self._result(self._tank_ml)} if self.state == DONE else {}

    def facts(self) -> list[tuple]:
        """See Procedure."""
        facts = [("by meter", self._meter_ml, "volume_ml"),
                 ("resolution", self.resolution_ppm(), "share_ppm")]
        if self._tank_ml:
            off = divide_rounded(ONE_PPM * (self._meter_ml - self._tank_ml), self._tank_ml)
            facts += [("by tank", self._tank_ml, "volume_ml"),
                      ("meter vs tank", off, "share_ppm"),
                      ("result", self._result(self._tank_ml), "pulses_per_hl")]
        return facts
