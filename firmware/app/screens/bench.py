"""The bench: liquid at standstill; measured flow, and beside it what it should be."""

from app.screens.base import CAUTION, ENTRY_TICKS, Confirm
from app.screens.regulation import nudge_duty
from app.screens.screen import CLOSE, Screen
from app.units_text import short_text, unit, with_unit
from app.words import sections
from rate_control.interlock import BENCH
from rate_control.records import Request
from rate_control.units import SPEED_MAX_MM_S

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid

SPEED_STEP_MM_S = (139, 224)  # 0.5 km/h, 0.5 mph
FLOW_DIGITS = 3
OVER = ("bench is over", "", "master off, then on", "back: menu")


def ask(app: "Application") -> Screen:
    """Return the screen that asks a person at the machine before the bench begins."""

    def act() -> Screen | str | None:
        return app.enter_bench(confirmed_at_machine=True) or BenchScreen(app)

    return Confirm(app, CAUTION, act)


class BenchScreen(Screen):
    """Turning changes the bench speed or the duty, pushing changes between them, back ends it."""

    REPLACES = 1

    def __init__(self, app: "Application") -> None:
        super().__init__(app)
        self._regulation_before = app.controller.request.regulation
        self._asked_at = app.ring.count

    def _over(self) -> bool:
        """Return whether the bench has ended, or did not begin at the tick after it was asked."""
        return (self.app.controller.interlock.state != BENCH
                and self.app.ring.behind(self._asked_at) > ENTRY_TICKS)

    def _fixed(self) -> bool:
        return self.app.controller.request.regulation == Request.FIXED_DUTY

    def turn(self, notches: int) -> None:
        """See Screen."""
        if self._fixed():
            nudge_duty(self.app, notches)
            return
        step_mm_s = SPEED_STEP_MM_S[self.us()]
        steps = (self.app.controller.request.bench_speed_mm_s + step_mm_s // 2) // step_mm_s
        speed_mm_s = min(max((steps + notches) * step_mm_s, 0), SPEED_MAX_MM_S)
        self.app.set_bench_speed(speed_mm_s, confirmed_at_machine=True)

    def push(self) -> str | None:
        """See Screen."""
        if self._over():
            return CLOSE
        other = Request.CLOSED_LOOP if self._fixed() else Request.FIXED_DUTY
        self.app.set_regulation(other)
        return None

    def closed(self) -> None:
        """See Screen."""
        self.app.leave_bench()
        self.app.set_regulation(self._regulation_before)

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        if self._over():
            grid.lines(0, OVER)
            return
        controller = self.app.controller
        decided = controller.decided
        us = self.us()
        grid.right(0, unit("flow_ul_s", us))
        grid.right(1, short_text("duty_u16", controller.outputs.duty_u16, us, 3) + " %")
        grid.big(short_text("flow_ul_s", controller.measured.flow_ul_s, us, FLOW_DIGITS))
        if self._fixed():
            name, value = "fixed duty", with_unit("duty_u16", controller.request.fixed_duty_u16, us)
            expected = "curve ", controller.curve.flow_ul_s(decided.demand_u16, decided.width_mm)
        else:
            name = "speed"
            value = with_unit("speed_mm_s", controller.request.bench_speed_mm_s, us)
            expected = "wanted ", decided.target_ul_s
        grid.pair(2, ">" + name, value)
        # what the big number should be: one look tells whether the set-up is right
        grid.pair(3, expected[0] + short_text("flow_ul_s", expected[1], us, FLOW_DIGITS),
                  sections(controller.outputs.section_mask, controller.settings.section_count))
