"""Regulation: the closed loop, or a duty by hand that stays as it is."""

from app.screens.base import answer
from app.screens.screen import Screen
from app.units_text import short_text
from rate_control.records import Request
from rate_control.units import DUTY_FULL

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid

DUTY_STEP_U16 = DUTY_FULL // 100
DUTY_DIGITS = 3


def nudge_duty(app: "Application", notches: int) -> None:
    """Change the duty by hand by one hundredth a notch."""
    duty_u16 = app.controller.request.fixed_duty_u16 + notches * DUTY_STEP_U16
    app.set_fixed_duty(min(max(duty_u16, 0), DUTY_FULL), confirmed_at_machine=True)


class Regulation(Screen):
    """Pushing changes between the two; turning changes the fixed duty."""

    def _fixed(self) -> bool:
        return self.app.controller.request.regulation == Request.FIXED_DUTY

    def turn(self, notches: int) -> None:
        """See Screen."""
        if self._fixed():
            nudge_duty(self.app, notches)

    def push(self) -> Screen | str | None:
        """See Screen."""
        other = Request.CLOSED_LOOP if self._fixed() else Request.FIXED_DUTY
        return answer(self.app, self.app.set_regulation(other))

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        controller = self.app.controller
        fixed = self._fixed()
        duty_u16 = controller.request.fixed_duty_u16 if fixed else controller.outputs.duty_u16
        grid.big(short_text("duty_u16", duty_u16, 0, DUTY_DIGITS))
        grid.right(0, "% duty")
        grid.text(2, 0, "fixed: turn it" if fixed else "closed loop")
        grid.text(3, 0, "push: closed loop" if fixed else "push: fixed duty")
