"""One moment of the controller, for telemetry and the display."""

from rate_control.application_rate import applied_rate_ml_ha
from rate_control.trace import FIELDS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.trace_ring import TraceRing
    from rate_control.controller import Controller

TOTALS = ("area_m2", "volume_ml", "distance_m", "time_s", "bench_volume_ml")


class Snapshot:
    """The newest trace line and what belongs to it; fill() takes it in between two ticks.

    Fields: every name of trace.FIELDS and of TOTALS, and rate_ml_ha (asked), applied_ml_ha (0
    where nothing is metered or no ground covered), regulation, bench_speed_mm_s.
    """

    if TYPE_CHECKING:
        def __getattr__(self, name: str) -> int:
            """What it sets by the names of the trace."""

    def __init__(self) -> None:
        for name in FIELDS + TOTALS:
            setattr(self, name, 0)
        self.rate_ml_ha = 0
        self.applied_ml_ha = 0
        self.regulation = 0
        self.bench_speed_mm_s = 0

    def fill(self, controller: "Controller", ring: "TraceRing") -> None:
        """Take everything from one and the same tick: where one came between, take it again."""
        while True:
            before = ring.count
            self._take(controller, ring.newest())
            if ring.count == before:
                return

    def _take(self, controller: "Controller", line: list[int]) -> None:
        for index, name in enumerate(FIELDS):
            setattr(self, name, line[index])
        request = controller.request
        totals = controller.totals
        self.rate_ml_ha = request.rate_ml_ha
        self.regulation = request.regulation
        self.bench_speed_mm_s = request.bench_speed_mm_s
        self.area_m2 = totals.area.whole
        self.volume_ml = totals.volume.thousandths()
        self.distance_m = totals.distance.whole
        self.time_s = totals.time.whole
        self.bench_volume_ml = totals.bench_volume.thousandths()
        # speed and width are those of the bench while it is on
        speed_mm_s = self.speed_mm_s or self.bench_speed_mm_s
        flow_ul_s = self.flow_ul_s if self.flow_valid else 0
        self.applied_ml_ha = applied_rate_ml_ha(flow_ul_s, speed_mm_s, self.width_mm)
